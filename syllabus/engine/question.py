"""What is asked: a day, an instant up to which the record is known, and what the rules depend on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from syllabus.engine import reading
from syllabus.engine.aircraft_models import NO_MODELS, Models
from syllabus.engine.errors import QuestionError
from syllabus.engine.geography import Place
from syllabus.engine.reading import Faults, Object, one_of
from syllabus.engine.settings import DEFAULT, Settings
from syllabus.engine.vocabulary import CATEGORIES, CLASSES


@dataclass(frozen=True, slots=True)
class Context:
    """What a rule may depend on besides the record and the day; None where the asker did not say."""

    aircraft_model: str | None = None
    category: str | None = None
    klass: str | None = None
    path: str | None = None
    application_date: date | None = None
    route: tuple[Place, ...] | None = None
    airport: Place | None = None
    area: str | None = None

    def as_json(self) -> dict[str, Any]:
        """Only what was given."""
        shown: dict[str, Any] = {
            "aircraft_model": self.aircraft_model,
            "category": self.category,
            "class": self.klass,
            "path": self.path,
            "application_date": self.application_date and self.application_date.isoformat(),
            "route": None if self.route is None else [reading.write_point(place) for place in self.route],
            "airport": self.airport and reading.write_point(self.airport),
            "area": self.area,
        }
        return {key: value for key, value in shown.items() if value is not None}


#: How each key of a context is read; an edge that reads them from a query string uses the same table.
READERS: Mapping[str, reading.Read] = {
    "aircraft_model": reading.name,
    "category": one_of(CATEGORIES, "category of aircraft"),
    "class": one_of(CLASSES, "class of aircraft"),
    "path": reading.name,
    "application_date": reading.day,
    "route": reading.route,
    "airport": reading.point,
    "area": reading.name,
}


def context_from(value: object, place: str = "context") -> Context:
    """Read a context from plain JSON values.

    Raises: QuestionError with every fault and its place.
    """
    faults = Faults()
    fields = Object(faults, {} if value is None else value, place)
    found = {key: fields.take(key, read) for key, read in READERS.items()}
    fields.done()
    faults.stop(QuestionError)
    return Context(klass=found.pop("class"), **found)


@dataclass(frozen=True, slots=True)
class Question:
    """The day asked about, with its context, and what the school says that answers depend on.

    ``category`` and ``klass`` are those asked about: as the context says, else as its model has them, else
    those that the milestone is about. ``path`` is the way of a milestone that is being judged, ``country``
    that whose rules they are.
    """

    on: date
    context: Context = Context()
    settings: Settings = DEFAULT
    models: Models = NO_MODELS
    category: str | None = None
    klass: str | None = None
    path: str | None = None
    country: str | None = None
