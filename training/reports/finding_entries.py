"""The entries that a finding names, in words, and what happened to them since. Reads only."""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import F
from django.utils.translation import gettext

from training import record
from training.models import ENTRIES, Correction, Finding, LessonRecord, Revocation, SignOff, Student
from training.models.record.lesson_records import PREFIX_LENGTH
from training.presenters.entry import PLAIN, name_of
from training.record.codec import PARTS


@dataclass(frozen=True, slots=True)
class Named:
    """One entry: the student, its id, and what it is, if it is on record.

    ``became`` is the same for a page and a print: corrected, removed from the record, signed; empty if
    nothing changed. ``lesson`` is the lesson record with a page about it; ``provenance`` is None for
    something that is no entry of a record.
    """

    student: Student | None
    id: str
    words: str = ""
    became: str = ""
    lesson: uuid.UUID | None = None
    provenance: str | None = None


def vouched(findings: Iterable[Finding]) -> dict[tuple[str, str], str]:
    """The provenance of entries that findings name, by the student's reference and the entry's id.

    For an entry that was replaced it is the newest row's. Leaves out what is no entry of a record. One query.
    """
    refs, ids = _meant(findings)
    if not refs:
        return {}
    first, *others = (
        model.objects.filter(student__ref__in=refs, entry_id__in=ids)
        .order_by()
        .values_list("student__ref", "entry_id", "provenance", "recorded_at")
        for model in ENTRIES
    )
    rows = sorted(first.union(*others, all=True), key=lambda row: row[3])
    return {(str(ref), entry): provenance for ref, entry, provenance, _ in rows}


def _meant(findings: Iterable[Finding]) -> tuple[set[str], set[str]]:
    """The references of students and the ids of entries that findings name."""
    named = {(each["student"], each["id"]) for found in findings for each in found.body["entries"]}
    return {ref for ref, _ in named if ref}, {entry for ref, entry in named if ref}


def names(findings: Iterable[Finding]) -> dict[tuple[str, str], str]:
    """What the entries of many findings are, by the student's reference and the entry's id.

    Of an entry that was replaced it is the newest. One query for each list of the record.
    """
    refs, ids = _meant(findings)
    found = {}
    for part in PARTS if refs else ():
        if part.model not in ENTRIES:
            continue
        rows = part.model.objects.filter(student__ref__in=refs, entry_id__in=ids).order_by("recorded_at")
        for ref, entry, *row in rows.values_list("student__ref", "entry_id", *part.selected):
            found[str(ref), entry] = name_of(part.made(**part.reader()(tuple(row))), PLAIN)
    return found


def reasons(findings: Iterable[Finding]) -> dict[str, str]:
    """Why lessons with these findings were signed all the same, by the finding's key. One query."""
    lessons = {each.key: {lesson_of(entry["id"]) for entry in each.body["entries"]} for each in findings}
    kinds = {each.key: each.kind for each in findings}
    rows = SignOff.objects.filter(lesson__in=set().union(*lessons.values()) - {None})
    signed = [
        (row.lesson_id, {each["kind"] for each in row.findings}, row)
        for row in rows.exclude(findings_reason="").order_by("at")
    ]
    return {
        key: f"{row.instructor_name}: {row.findings_reason}"
        for key, about in lessons.items()
        for lesson, found, row in signed
        if lesson in about and kinds[key] in found
    }


def of(finding: Finding) -> list[Named]:
    """The entries of a finding, in its order. A few queries for each."""
    refs = {each["student"] for each in finding.body["entries"] if each["student"]}
    students = {str(each.ref): each for each in Student.objects.filter(ref__in=refs).select_related("school")}
    return [_named(students.get(each["student"] or ""), each["id"]) for each in finding.body["entries"]]


def _named(student: Student | None, entry: str) -> Named:
    if student is None:
        return Named(None, entry)
    for part in PARTS:
        if part.model not in ENTRIES:
            continue
        rows = part.model.objects.filter(student=student, entry_id=entry)
        row = rows.order_by(F("retired_at").desc(nulls_first=True), "-pk").first()
        if row is not None:
            words = name_of(record.entry_of(row, part.name), PLAIN)
            became = _became(student, entry, row)
            return Named(student, entry, words, became, lesson_of(entry), row.provenance)
    return _drafted(student, entry)


def lesson_of(entry: str) -> uuid.UUID | None:
    """The lesson record that an entry was signed in, by the entry's id."""
    try:
        return (
            uuid.UUID(entry[: PREFIX_LENGTH - 1]) if entry[PREFIX_LENGTH - 1 : PREFIX_LENGTH] == "/" else None
        )
    except ValueError:
        return None


def _became(student: Student, entry: str, row: Any) -> str:
    """What ended an entry: the correction of its lesson, a revocation, or another record that replaced it."""
    if row.retired_at is None:
        revoked = Revocation.objects.filter(student=student, endorsement__entry_id=entry).first()
        if revoked is None:
            return ""
        said = {"day": student.school.day(revoked.at), "reason": revoked.reason}
        return gettext("revoked on %(day)s: %(reason)s") % said
    day = student.school.day(row.retired_at)
    corrected = Correction.objects.filter(student=student, entries=entry[:PREFIX_LENGTH]).first()
    if corrected is not None:
        return gettext("corrected on %(day)s: %(reason)s") % {"day": day, "reason": corrected.reason}
    return gettext("removed on %(day)s") % {"day": day}


def _drafted(student: Student, entry: str) -> Named:
    """A whole lesson record, for findings about its signature."""
    try:
        found = LessonRecord.objects.filter(student=student, pk=uuid.UUID(entry)).first()
    except ValueError:
        found = None
    if found is None:
        return Named(student, entry)
    words = gettext("Lesson %(code)s") % {"code": found.lesson} if found.lesson else gettext("A lesson")
    signed = SignOff.objects.filter(lesson=found).first()
    if signed is None:
        return Named(student, entry, words, gettext("still a draft"))
    became = gettext("signed on %(day)s") % {"day": student.school.day(signed.at)}
    return Named(student, entry, words, became, found.pk)
