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
    """The base; by itself, that a rule forbids it. ``str()`` is fit for a person.

    ``faults`` say why, each with its place and citation; ``summary`` introduces them where they are listed.
    ``facts`` are further members of the answer to a program.
    """

    def __init__(
        self,
        message: str,
        *,
        faults: Iterable[Error] = (),
        summary: str = "",
        facts: Mapping[str, Any] | None = None,
    ):
        self.faults, self.summary = tuple(faults), summary or message
        self.facts = dict(facts or {})
        super().__init__(message)


class NotAllowed(Refused):
    """The user may not do this at this school, or to this student's record; says so without naming it."""


class NotFound(Refused):
    """The thing does not exist, or the user may not know of it; both get the same answer."""

    def __init__(self, what: str, which: str = "that you may see"):
        super().__init__(f"There is no {what} here {which}.")


class Conflict(Refused):
    """It contradicts what is on record; the message says how, and what to do instead."""


class NotAsRead(Conflict):
    """The content to sign or to publish differs from the content that the user read."""


class Changed(Conflict):
    """The change starts from a version that is not the newest any more."""


def faults_of(wrong: ValidationError) -> list[Error]:
    """What a model's own checks found, each at its field."""
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
