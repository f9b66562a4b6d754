"""Items graded to a standard."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import timedelta
from itertools import groupby
from typing import Any

from syllabus.engine.record.record import CLAIMED, GRADES, NOT_OBSERVED, ItemGrade, Record
from syllabus.engine.rules import facts
from syllabus.engine.rules.finding import Finding, Told
from syllabus.engine.rules.kinds import registry
from syllabus.engine.rules.kinds.registry import Param, kind
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.reasons import NOTHING, Named, Reason, reason
from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.engine.time.amounts import count
from syllabus.engine.time.days import Days

ONE_DAY = timedelta(days=1)


@kind(
    "items_at_standard",
    items=Param(registry.table(registry.word(), registry.word()), True),
    grade=Param(registry.word(*GRADES), True),
)
def items_at_standard(rule: RuleVersion, record: Record, question: Question, nested: Any) -> Finding:
    """Each item's newest grade is the one wanted, given by an instructor.

    "Not observed" is no grade and never lowers an earlier one. Two different grades of one day whose order
    nothing on record gives are a question; so is a grade that is only claimed and differs from the newest one
    that somebody vouches for, where the school asks about claims.
    """
    items: Mapping[str, str] = rule.params["items"]
    wanted: str = rule.params["grade"]
    need_rank = GRADES.index(wanted)
    holds = possible = Days.all()
    told = Told()
    at_standard, missing = 0, []
    for item, title in items.items():
        graded = record.items_by_name.get(item, ())
        told.not_counted += _by_nobody_who_trains(graded, question)
        sure, maybe, newest, doubt = _days_at(graded, need_rank, record, question)
        holds &= sure
        possible &= maybe
        if question.on in sure:
            at_standard += 1
            told.counted.append((newest[-1].id, reason("item.at-standard", item=Named(item), grade=wanted)))
        elif question.on in maybe:
            only = next((grade for grade in newest if _only_claimed(grade, question)), None)
            claim = only and reason("item.only-claimed", grade=only.grade, item=Named(item))
            which = reason("item.order-unknown", item=Named(item), day=newest[-1].date)
            told.ask.append(((only or newest[-1]).id, doubt or claim or which))
        elif newest:
            low = reason("item.below-standard", item=Named(item, title), grade=newest[-1].grade)
            told.not_counted.append((newest[-1].id, low))
        else:
            missing.append(Named(item, title))
    if missing:
        told.notes.append(reason("item.not-graded", items=tuple(missing)))
    have, need, remaining = (
        (count(number, "item"),) for number in (at_standard, len(items), len(items) - at_standard)
    )
    return told.finding(rule, holds, possible, have, need, remaining)


def _by_nobody_who_trains(graded: Iterable[ItemGrade], question: Question) -> Iterator[tuple[str, Reason]]:
    """The grades up to the day that nobody who gives flight training gave."""
    for grade in graded:
        if grade.date > question.on or facts.graded(grade) or grade.grade == NOT_OBSERVED:
            continue
        item = Named(grade.item)
        if grade.instructor is None:
            yield grade.id, reason("item.no-instructor", item=item)
        else:
            yield grade.id, reason("item.other-instructor", item=item, instructor=grade.instructor.kind)


def _doubt(grade: ItemGrade, record: Record, question: Question) -> Reason:
    """Why a grade leaves a question: nobody vouches for it, or its flight says otherwise."""
    return facts.unvouched(grade, question.settings) or facts.grade_doubt(
        grade, record, question.category, question.models
    )


def _only_claimed(grade: ItemGrade, question: Question) -> bool:
    """Whether nobody vouches for a grade at a school that asks about claims of any sort."""
    return bool(question.settings.claims_asked) and grade.provenance == CLAIMED


def _days_at(
    graded: tuple[ItemGrade, ...], need_rank: int, record: Record, question: Question
) -> tuple[Days, Days, list[ItemGrade], Reason]:
    """Days on which the newest grade is surely, and possibly, high enough; the newest grades on a day, and
    what is in doubt about them.
    """
    usable = [grade for grade in graded if facts.graded(grade)]
    sure, maybe, newest, asked = [], [], [], NOTHING
    standing: list[ItemGrade] = []
    groups = [(day, list(group)) for day, group in groupby(usable, key=lambda grade: grade.date)]
    for index, (day, group) in enumerate(groups):
        last = groups[index + 1][0] - ONE_DAY if index + 1 < len(groups) else None
        if vouched := [grade for grade in group if not _only_claimed(grade, question)]:
            standing = _latest(vouched, record)
        group = _latest(group, record)
        # a claim takes the place of no grade that somebody vouches for: either may be the one
        rivals = standing if any(_only_claimed(grade, question) for grade in group) else []
        ranks = [GRADES.index(grade.grade) >= need_rank for grade in (*group, *rivals)]
        doubt = next(filter(None, (_doubt(grade, record, question) for grade in group)), NOTHING)
        if all(ranks) and not doubt:
            sure.append(Days.between(day, last))
        if any(ranks):
            maybe.append(Days.between(day, last))
        if day <= question.on:
            newest, asked = sorted(group, key=lambda grade: (-GRADES.index(grade.grade), grade.id)), doubt
    return Days.union(sure), Days.union(maybe), newest, asked


def _latest(group: list[ItemGrade], record: Record) -> list[ItemGrade]:
    """Of one day's grades the last, where takeoff times tell; else all of them."""
    if len(group) == 1:
        return group
    flights = [record.flights_by_id.get(grade.flight) if grade.flight else None for grade in group]
    offs = [flight.off for flight in flights if flight is not None and flight.off is not None]
    if len(offs) == len(group):
        latest = max(offs)
        return [grade for grade, off in zip(group, offs, strict=True) if off == latest]
    return group
