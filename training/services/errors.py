"""Why a service refused: one hierarchy, translated once for the API and once for pages.

Input that cannot be read is the engine's ``InputError``, with a place for every error. Nothing here knows
HTTP: ``api/v1/base/errors.py`` and ``training/web/shared/refusals.py`` choose statuses and pages.
"""

from collections.abc import Iterable, Mapping
from typing import Any, TypeVar

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db.models import Model, QuerySet

from syllabus.engine.errors import Error

Row = TypeVar("Row", bound=Model)


class Refused(Exception):
    """The base class; by itself, a rule forbids the action. ``str()`` is fit for a person.

    ``errors`` are the reasons, each with its place and citation; ``summary`` introduces the list. ``facts``
    are further members of the API's answer.
    """

    def __init__(
        self,
        message: str,
        *,
        errors: Iterable[Error] = (),
        summary: str = "",
        facts: Mapping[str, Any] | None = None,
    ):
        self.errors, self.summary = tuple(errors), summary or message
        self.facts = dict(facts or {})
        super().__init__(message)


class NotAllowed(Refused):
    """The user may not do this at this school, or to this student's record; the message does not name it."""


class NotFound(Refused):
    """The thing does not exist, or the user may not know of it; both get the same answer."""

    def __init__(self, what: str, which: str = "that you may see"):
        super().__init__(f"There is no {what} here {which}.")


class Conflict(Refused):
    """It contradicts what is on record; the message says how, and what to do instead."""


class NotAsRead(Conflict):
    """The content to sign or to publish differs from the content that the user read."""


class Changed(Conflict):
    """The change is based on a version that is no longer the newest."""


def errors_of(wrong: ValidationError) -> list[Error]:
    """The errors of a model's own validation, each at its field."""
    places = {NON_FIELD_ERRORS: "", "klass": "class"}
    return [
        Error(places.get(field, field), message)
        for field, messages in wrong.message_dict.items()
        for message in messages
    ]


def find(rows: QuerySet[Row, Row], what: str, **named: Any) -> Row:
    """The one row of that name. Raises: NotFound."""
    found = rows.filter(**named).first()
    if found is None:
        raise NotFound(what)
    return found
