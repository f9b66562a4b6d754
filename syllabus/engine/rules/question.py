"""What is asked: a day, an instant up to which the record is known, and what the rules depend on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any

from syllabus.engine.errors import QuestionError
from syllabus.engine.record import reading
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.record import Category, Class
from syllabus.engine.record.shapes import shape, shape_of
from syllabus.engine.record.types import Day, Name, Point, Route
from syllabus.engine.rules.aircraft_models import NO_MODELS, Models
from syllabus.engine.rules.settings import DEFAULT, Settings

_OF_AIRCRAFT = "of aircraft; where it is not given, that of the model or of the milestone."


@shape("Context", "What a rule may depend on besides the record and the day.")
@dataclass(frozen=True, slots=True)
class Context:
    """What a rule may depend on besides the record and the day; None where the asker did not say."""

    aircraft_model: Annotated[Name | None, "The make and model that the flight is to be in."] = None
    category: Annotated[Category | None, f"The category {_OF_AIRCRAFT}"] = None
    klass: Annotated[Class | None, f"The class {_OF_AIRCRAFT}"] = None
    path: Annotated[Name | None, "The path to the milestone, by its name, if the rules have several."] = None
    application_date: Annotated[
        Day | None,
        "The day of the application for the practical test; `on` where it is not given.",
    ] = None
    route: Annotated[
        Route | None, "The route of the flight: identifiers separated by commas, as KGRB,KMTW."
    ] = None
    airport: Annotated[Point | None, "The airport of the flight."] = None
    area: Annotated[Name | None, "The Class B airspace area of the flight."] = None

    def as_json(self) -> dict[str, Any]:
        """Only what was given."""
        return _CONTEXT.write(self)


_CONTEXT = shape_of(Context)
#: How each key of a context is read; an edge that reads them from a query string uses the same table.
READERS: Mapping[str, reading.Read] = {field.key: field.type.read for field in _CONTEXT.fields}


def context_from(value: object, place: str = "context") -> Context:
    """Read a context from plain JSON values.

    Raises: QuestionError with every error and its place.
    """
    errors = Errors()
    found: Context = _CONTEXT.read(errors, {} if value is None else value, place)
    errors.stop(QuestionError)
    return found


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
