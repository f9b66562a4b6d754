"""Reads the links of a school's own spellings."""

from syllabus.engine.rules.aircraft_models import Model, Models
from syllabus.law import aircraft_models
from training.models import ModelSpelling


def links_of(school: int) -> Models:
    """The school's own links, which override the built-in ones: ``current() | links_of(school)``.

    A link to a built-in model has that model's category and class. Queries: 1.
    """
    rows = list(ModelSpelling.objects.filter(school_id=school))
    own = {
        row.model: Model(row.model, row.category or None, row.klass or None)
        for row in rows
        if row.spelling == row.model
    }
    shipped = aircraft_models.current()
    return Models(
        {row.folded: own.get(row.model) or shipped.find(row.model) or Model(row.model) for row in rows}
    )
