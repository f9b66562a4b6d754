"""A student's record entry by entry: its origin, its ledger entry, and its successor.

A replaced entry stays visible beside its successor, each with its days.
"""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from syllabus.engine.record import record as engine
from training import models
from training.models import (
    Correction,
    EndorsementSeal,
    HandOver,
    RecordChange,
    Revocation,
    SignOff,
    Student,
)
from training.record.adding import part as part_of
from training.record.codec import LANDINGS_SELECTED, read_landing

#: The tabs of the page, each with its lists of the record document.
LEAVES: dict[str, tuple[str, ...]] = {
    "flights": ("flights",),
    "ground": ("ground",),
    "grades": ("items",),
    "papers": ("certificates", "documents", "tests"),
    "endorsements": ("endorsements",),
}
#: The field with an entry's day, if it is not ``date``.
_DAYS = {"certificates": "issued", "documents": "issued", "endorsements": "given"}


@dataclass(frozen=True, slots=True)
class Shown:
    """One entry as it was known, with its provenance; ``until`` is when it was replaced or removed.

    ``origin`` says where it came from, ``why`` why it was corrected; ``index`` is its ledger index.
    """

    part: str
    entry: Any
    recorded_at: dt.datetime
    until: dt.datetime | None
    sealed: bool
    index: int | None
    origin: str
    why: str

    @property
    def day(self) -> dt.date:
        return engine.entry_day(self.entry)


def of(student: Student, leaf: str, on: dt.date, known_at: dt.datetime) -> list[Shown]:
    """The entries of a tab up to a day, as known at an instant, with those replaced by then; newest first.

    Nine queries at most, whatever the size.
    """
    origins = _Origins(student, known_at)
    found = []
    for name in LEAVES[leaf]:
        found += _entries(student, name, on, known_at, origins)
    return sorted(found, key=lambda each: (each.day, each.entry.id, each.recorded_at), reverse=True)


def _entries(
    student: Student, name: str, on: dt.date, known_at: dt.datetime, origins: "_Origins"
) -> list[Shown]:
    whose = part_of(name)
    rows = whose.model.objects.filter(
        recorded_at__lte=known_at, student_id=student.pk, **{f"{_DAYS.get(name, 'date')}__lte": on}
    ).values_list("pk", "recorded_at", "retired_at", "sealed", *whose.selected)
    kept = list(rows.order_by())
    landings: dict[int, list[Any]] = {}
    if name == "flights":
        landed = models.Landing.objects.filter(student_id=student.pk).order_by("flight_id", "position")
        for flight, *row in landed.values_list("flight_id", *LANDINGS_SELECTED):
            landings.setdefault(flight, []).append(read_landing(tuple(row)))
    read, made = whose.reader(), []
    for pk, recorded_at, retired_at, sealed, *row in kept:
        fields = read(tuple(row))
        if pk in landings:
            fields["landings"] = tuple(landings[pk])
        entry = whose.made(**fields)
        until = retired_at if retired_at is not None and retired_at <= known_at else None
        origin, index, why = origins.of(name, pk, entry, recorded_at, sealed)
        made.append(Shown(name, entry, recorded_at, until, sealed, index, origin, why if until else ""))
    return made


class _Origins:
    """The origins of one student's entries. Six queries, each when it is needed."""

    def __init__(self, student: Student, known_at: dt.datetime):
        self.student, self.known_at = student, known_at
        signed = SignOff.objects.filter(student=student, at__lte=known_at)
        self.lessons = {
            str(lesson): (code, name, at, index)
            for lesson, code, name, at, index in signed.values_list(
                "lesson_id", "lesson__lesson", "instructor_name", "at", "ledger_index"
            )
        }
        put_right = Correction.objects.filter(student=student, at__lte=known_at)
        self.reasons = {str(lesson): why for lesson, why in put_right.values_list("lesson_id", "reason")}
        changes = RecordChange.objects.filter(student=student).select_related("by")
        self.changes = {each.at: each for each in changes}
        taken = HandOver.objects.filter(student=student, at__lte=known_at)
        self.origins = dict(taken.values_list("at", "origin"))
        self._seals: dict[int, tuple[str, int]] | None = None
        self._ended: dict[int, str] = {}

    def of(
        self, part: str, pk: int, entry: Any, recorded_at: dt.datetime, sealed: bool
    ) -> tuple[str, int | None, str]:
        """The origin in the page's language, the ledger index, and why it was corrected."""
        lesson = entry.id.partition("/")[0]
        if sealed and lesson in self.lessons:
            code, name, _at, index = self.lessons[lesson]
            said = (
                _("signed by %(name)s with lesson %(code)s")
                if code
                else _("signed by %(name)s with a lesson")
            )
            return said % {"name": name, "code": code}, index, self.reasons.get(lesson, "")
        if part == "endorsements":
            seals = self._endorsements()
            if pk in seals:
                name, index = seals[pk]
                return _("given here by %(name)s") % {"name": name}, index, self._ended.get(pk, "")
            if sealed:
                return _("given here, revoked"), None, ""
        if recorded_at in self.origins:
            return _("transferred from %(origin)s") % {"origin": self.origins[recorded_at]}, None, ""
        if recorded_at in self.changes:
            change = self.changes[recorded_at]
            by = {"by": change.by or _("the server's operator")}
            if entry.id.startswith("import-"):
                return _("imported flight, by %(by)s") % by, None, ""
            return _("imported with a record, by %(by)s") % by, None, ""
        return _("added here"), None, ""

    def _endorsements(self) -> dict[int, tuple[str, int]]:
        if self._seals is None:
            given = EndorsementSeal.objects.filter(student=self.student).select_related("by")
            self._seals = {each.endorsement_id: (str(each.by), each.ledger_index) for each in given}
            ended = Revocation.objects.filter(student=self.student, at__lte=self.known_at)
            self._ended = dict(ended.values_list("endorsement_id", "reason"))
        return self._seals
