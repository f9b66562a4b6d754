"""Rows to the links of a school's own spellings."""

from syllabus.engine.rules.aircraft_models import Model, Models
from syllabus.law import aircraft_models
from training.models import ModelSpelling


def links_of(school: int) -> Models:
    """What the school itself links, to stand over the shipped table: ``current() | links_of(school)``.

    A link to a shipped model has that model's category and class. Queries: 1.
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
