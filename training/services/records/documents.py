"""Adds documents and tests to a record one at a time, and says what each is good for and how long.

For proof of identity or citizenship the record says what was shown and when, and never has a copy.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.db.models import F

from syllabus.engine.errors import DocumentError, Error, InputError
from syllabus.engine.record import document as record_documents
from syllabus.engine.record import record as engine
from syllabus.engine.record.reading import Errors
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.rules.question import Context
from syllabus.engine.rules.reasons import NotCovered
from syllabus.engine.rules.rulebook import Milestone, Rulebook
from syllabus.law import rulebook
from training import record
from training.models import Document, Student, Test, User
from training.reports import authorities, closing
from training.services import access
from training.services.errors import Conflict
from training.services.records import attesting, record_changes

#: Proof of identity and citizenship that the school saw (49 CFR 1552).
CITIZENSHIP = "citizenship-evidence"
DOCUMENTS, TESTS = "documents", "tests"
_MILESTONE = "papers"
Paper = engine.Document | engine.Test


class PaperError(InputError):
    """The document or test cannot be read."""

    what = "what was sent"


@dataclass(frozen=True, slots=True)
class Good:
    """What a document is good for: ``first`` to ``last``, None is open. Or why it is not."""

    milestone: str
    requirement: str
    says: str
    citation: str
    met: bool | None
    first: dt.date | None
    last: dt.date | None
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Added:
    """The entry on record, and whether this call added it."""

    entry: Paper
    created: bool


@transaction.atomic
def add(
    student: Student,
    entry: uuid.UUID,
    sent: object,
    *,
    by: User,
    at: dt.datetime,
    via: str,
    saw: str = "",
    confirmed: Mapping[str, Any] | None = None,
) -> Added:
    """Add a document or a test. Sending the same again returns the first one.

    ``sent``: ``{"document": {...}}`` or ``{"test": {...}}``, each as in a record document, without id.
    ``saw``: which document ``by`` saw; then ``by`` attests the entry, and the caller has re-authenticated
    them (``confirmed``, from ``confirming``). Without it the entry is a claim.

    Raises: PaperError; NotAllowed; Conflict if the id belongs to something else; NotAttested.
    Effects: one transaction, with the student's row locked; signed into the ledger; the access is logged.
    """
    access.require(by, "write a record", student, on=at.date())
    locked = access.locked_student(student.pk)
    part, paper = read(sent, str(entry), today=locked.school.day(at))
    stands = _rows(locked, part, paper).order_by("recorded_at", "pk").first()
    if stands is not None:
        written = dataclasses.replace(record.entry_of(stands, part), provenance=engine.CLAIMED)
        if written != paper:
            raise Conflict(
                f"The id {paper.id} is already on this record with other content. Send a new entry"
                " with a new id."
            )
        if saw and stands.retired_at is None and stands.provenance == engine.CLAIMED:
            attesting.attest(
                locked, [(part, paper.id)], saw=saw, by=by, at=at, via=via, confirmed=confirmed, sent=sent
            )
        # the row on record, else the one retired last
        newest = _rows(locked, part, paper).order_by(F("retired_at").desc(nulls_first=True), "-pk").first()
        return Added(dataclasses.replace(paper, provenance=newest.provenance), created=False)
    if saw:
        attesting.check(locked, part, paper, by)
    provenance = engine.ATTESTED if saw else engine.CLAIMED
    record.add(locked, part, paper, at=at, provenance=provenance)
    moved = [record.moved(part, paper, provenance)]
    attesting.seal(locked, record_changes.ADDED, moved, saw=saw, by=by, at=at, confirmed=confirmed, sent=sent)
    access.log(by, locked, access.WRITE, f"{part.removesuffix('s')} {paper.kind}", via=via, at=at)
    return Added(dataclasses.replace(paper, provenance=provenance), created=True)


def _rows(student: Student, part: str, paper: Paper) -> Any:
    """Every row of a document or test, retired ones included."""
    model = Document if part == DOCUMENTS else Test
    return model._default_manager.filter(student=student, entry_id=paper.id)


def read(sent: object, entry: str, *, today: dt.date) -> tuple[str, Paper]:
    """The list of the record it belongs to, and the entry. Raises: PaperError."""
    keys = {"document": DOCUMENTS, "test": TESTS}
    if not isinstance(sent, Mapping) or len(sent) != 1 or next(iter(sent)) not in keys:
        raise PaperError.at("", "expected either document or test")
    [(key, fields)] = sent.items()
    part = keys[key]
    if not isinstance(fields, Mapping):
        raise PaperError.at(key, "expected an object")
    errors = Errors()
    for name in ("id", "recorded", "provenance"):
        if name in fields:
            errors.add(f"{key}.{name}", "is set by the server; leave it out")
    errors.stop(PaperError)
    try:
        form = {"format": engine.FORMAT, part: [{**fields, "id": entry}]}
        paper: Paper = getattr(record_documents.parse(form), part)[0]
    except DocumentError as problem:
        raise PaperError(
            Error(f"{key}{error.place.removeprefix(f'{part}[0]')}", error.message) for error in problem.errors
        ) from None
    _check(errors, key, paper, today)
    errors.stop(PaperError)
    return part, paper


def _check(errors: Errors, key: str, paper: Paper, today: dt.date) -> None:
    """Add errors for what is missing, and for impossible days."""
    if isinstance(paper, engine.Document):
        own, day = "issued", paper.issued
        if paper.kind == CITIZENSHIP and not paper.remarks.strip():
            errors.add(f"{key}.remarks", "is missing; say which document was shown, such as US passport")
        if paper.expires and paper.expires < day:
            errors.add(f"{key}.expires", f"{paper.expires} is before the day of issue, {day}")
    else:
        own, day = "date", paper.date
    if day > today:
        errors.add(f"{key}.{own}", f"{day} is in the future; today is {today}")


def listed(student: Student, on: dt.date) -> Iterator[tuple[str, Paper, list[Good]]]:
    """Each document and test on record, newest first within its list, with what it is good for."""
    known, asked = record.of(student), _asked(student)
    for part in (DOCUMENTS, TESTS):
        for paper in reversed(getattr(known, part)):
            yield part, paper, _good_for(known.student, paper, on, asked)


def good_for(student: Student, paper: Paper, on: dt.date) -> list[Good]:
    """What one document by itself is good for on a day, for each such rule of the student's authorities.

    It is each requirement's finding on a record that holds nothing else.

    Raises: NotInForce.
    """
    return _good_for(engine.Student(student.name, student.birth_date), paper, on, _asked(student))


def _asked(student: Student) -> Rulebook:
    """The rules with one more milestone: what the student's authorities require of documents and tests."""
    rules = rulebook.current()
    asked = (each for milestone in authorities.asked(student, rules) for each in milestone.requirements)
    requirements = tuple(each for each in asked if each.kind in closing.OF_PAPERS)
    return rules.with_milestone(Milestone(_MILESTONE, "", "", (), requirements))


def _good_for(person: engine.Student, paper: Paper, on: dt.date, asked: Rulebook) -> list[Good]:
    alone = dataclasses.replace(_record(paper), student=person)
    context = Context(aircraft_model=getattr(paper, "aircraft_model", None))
    found: list[Good] = []
    try:
        findings = evaluate(asked, alone, _MILESTONE, on, context=context).findings
    except NotCovered:  # about aircraft that these rules do not cover
        return found
    for finding in findings:
        span = next(iter(finding.holds), None) or next(iter(finding.possible), None)
        why = tuple(str(said) for entry, said in finding.not_counted if entry == paper.id)
        if span is None and not why:
            continue
        missing = tuple(f"{entry}: {fact}" for entry, fact in finding.ask)
        rule = finding.rule
        good = Good(
            rule.id.rpartition(".")[0],
            rule.id,
            rule.says,
            rule.cite.section,
            finding.met(on),
            *(span or (None, None)),
            (*why, *missing),
        )
        found.append(good)
    return found


def list_of(paper: Paper) -> str:
    """The list of the record for a document or a test."""
    return DOCUMENTS if isinstance(paper, engine.Document) else TESTS


def _record(paper: Paper) -> engine.Record:
    """A record that holds nothing else."""
    if isinstance(paper, engine.Document):
        return engine.Record(documents=(paper,))
    return engine.Record(tests=(paper,))


def as_json(part: str, paper: Paper, good: list[Good]) -> dict[str, Any]:
    """One listed document as plain JSON values."""
    whole = record_documents.dump(_record(paper), provenance=True)
    [said] = whole[part]
    return {"list": part, "entry": said, "good_for": good}
