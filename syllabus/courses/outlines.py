"""Rows to outlines and back: drafts saved, published, compared; and a school's minimums beside the law."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from types import MappingProxyType

from django.db import transaction
from django.db.models import F, Q, QuerySet

from syllabus import models
from syllabus.courses import files, reader
from syllabus.engine.course import changes
from syllabus.engine.course.changes import Carried, Change
from syllabus.engine.course.course import PLANNED, CourseError, Item, Lesson, Outline, Stage, Task
from syllabus.engine.course.standards import Target, Tolerance
from syllabus.engine.record.reading import FIRST_YEAR
from syllabus.engine.rules.minimums import Minimum, as_requirement, with_minimums
from syllabus.engine.rules.rulebook import Milestone, Requirement, Rulebook
from syllabus.engine.time.units import MOST_DECIMALS
from syllabus.law import rulebook
from syllabus.models.courses import DRAFT, PUBLISHED

MICROSECOND = dt.timedelta(microseconds=1)


@dataclass(frozen=True, slots=True)
class Saved:
    """What saving a course gave: the version, and whether anything was written."""

    version: models.CourseVersion
    changed: bool


def outline(version: models.CourseVersion) -> Outline:
    """A version as the engine takes it; eight queries, whatever its size."""
    grades: dict[int, dict[str, str]] = defaultdict(dict)
    rows = models.LessonItem.objects.filter(lesson__stage__version=version).order_by("position")
    for lesson, item, grade in rows.values_list("lesson_id", "item__code", "minimum_grade"):
        grades[lesson][item] = grade
    lessons = defaultdict(list)
    for row in models.Lesson.objects.filter(stage__version=version).order_by("position"):
        lessons[row.stage_id].append(_lesson(row, grades[row.pk]))
    return Outline(
        code=version.course.code,
        title=version.title,
        says=version.says,
        stages=tuple(
            Stage(row.code, row.title, row.objective, row.completion, tuple(lessons[row.pk]))
            for row in models.Stage.objects.filter(version=version).order_by("position")
        ),
        items=_items(version),
        minimums=tuple(
            Minimum(row.code, row.kind, MappingProxyType(row.params), row.says, row.note)
            for row in models.CourseMinimum.objects.filter(version=version).order_by("position")
        ),
    )


#: What the id of a course's own milestone begins with.
OF_A_COURSE = "course."


def published(version: models.CourseVersion) -> Outline:
    """A published version's outline; read once, for what is published stays as it is."""
    return published_as(version.pk, version.content_hash)


@lru_cache(maxsize=64)
def published_as(pk: int, content_hash: str) -> Outline:
    """The same by its key, with its hash: the key of another database may be that of another version.

    Raises: CourseVersion.DoesNotExist.
    """
    return outline(
        models.CourseVersion.objects.select_related("course").get(pk=pk, content_hash=content_hash)
    )


def _lesson(row: models.Lesson, items: Mapping[str, str]) -> Lesson:
    times = {kind: getattr(row, kind) for kind in PLANNED}
    return Lesson(
        code=row.code,
        title=row.title,
        objective=row.objective,
        completion=row.completion,
        times=MappingProxyType(
            {kind: time // MICROSECOND for kind, time in times.items() if time is not None}
        ),
        items=MappingProxyType(dict(items)),
        plans=tuple(row.plans),
    )


def _items(version: models.CourseVersion) -> tuple[Item, ...]:
    of_version = {"item__version": version}
    standard, needs, proofs = defaultdict(list), defaultdict(list), defaultdict(list)
    for each in models.StandardTolerance.objects.filter(**of_version).order_by("position"):
        standard[each.item_id].append(_tolerance(each))
    rows = models.Prerequisite.objects.filter(**of_version).order_by("position")
    for item, code in rows.values_list("item_id", "needs__code"):
        needs[item].append(code)
    for proof in models.Proof.objects.filter(**of_version).order_by("position"):
        proofs[proof.item_id].append(proof.proves)
    return tuple(
        Item(
            code=row.code,
            title=row.title,
            objective=row.objective,
            kind=row.kind,
            standard=tuple(standard[row.pk]),
            task=Task(row.task_document, row.task_revision, row.task_code) if row.task_code else None,
            prerequisites=tuple(needs[row.pk]),
            proves=tuple(proofs[row.pk]),
        )
        for row in models.Item.objects.filter(version=version).order_by("position")
    )


def _tolerance(row: models.StandardTolerance) -> Tolerance:
    return Tolerance(
        name=row.name,
        quantity=row.quantity,
        target=Target(row.target, _fraction(row.target_value), row.target_name),
        low=_fraction(row.low),
        high=_fraction(row.high),
        low_inclusive=row.low_inclusive,
        high_inclusive=row.high_inclusive,
        basis=row.basis,
        source=row.source,
        verified=row.verified,
        note=row.note,
    )


def _fraction(number: Decimal | None) -> Fraction | None:
    return None if number is None else Fraction(number)


def _decimal(number: Fraction | None) -> Decimal | None:
    return None if number is None else Decimal(int(number * 10**MOST_DECIMALS)).scaleb(-MOST_DECIMALS)


@transaction.atomic
def save(outline: Outline, school_ref: str | None = None) -> Saved:
    """Keep a course as the draft of its next version, in the place of the draft there is.

    Where it says what the newest version says already, nothing is written and that version is given.

    Raises: CourseError where the course does not hang together.
    """
    _hang_together(outline)
    course, _ = models.Course.objects.get_or_create(code=outline.code, school_ref=school_ref)
    models.Course.objects.select_for_update().get(pk=course.pk)  # one writer at a time
    newest = models.CourseVersion.objects.filter(course=course).order_by("-number").first()
    content = files.content_hash(outline)
    if newest is not None and newest.content_hash == content:
        return Saved(newest, False)
    number = 1 if newest is None else newest.number + 1
    if newest is not None and newest.state == DRAFT:
        number = newest.number
        newest.delete()
    version = models.CourseVersion.objects.create(
        course=course, number=number, content_hash=content, title=outline.title, says=outline.says
    )
    _write(outline, version)
    return Saved(version, True)


def _hang_together(outline: Outline) -> None:
    if faults := files.faults_of(outline):
        raise CourseError(faults)


def _write(outline: Outline, version: models.CourseVersion) -> None:
    items = {
        row.code: row
        for row in models.Item.objects.bulk_create(
            models.Item(
                version=version,
                position=position,
                code=each.code,
                title=each.title,
                objective=each.objective,
                kind=each.kind,
                task_document=each.task.document if each.task else "",
                task_revision=each.task.revision if each.task else "",
                task_code=each.task.code if each.task else "",
            )
            for position, each in enumerate(outline.items)
        )
    }
    models.StandardTolerance.objects.bulk_create(
        _tolerance_row(tolerance, items[each.code], position)
        for each in outline.items
        for position, tolerance in enumerate(each.standard)
    )
    models.Prerequisite.objects.bulk_create(
        models.Prerequisite(item=items[each.code], needs=items[other], position=position)
        for each in outline.items
        for position, other in enumerate(each.prerequisites)
    )
    models.Proof.objects.bulk_create(
        models.Proof(item=items[each.code], proves=proof, position=position)
        for each in outline.items
        for position, proof in enumerate(each.proves)
    )
    stages = models.Stage.objects.bulk_create(
        models.Stage(
            version=version,
            position=position,
            code=each.code,
            title=each.title,
            objective=each.objective,
            completion=each.completion,
        )
        for position, each in enumerate(outline.stages)
    )
    lessons = models.Lesson.objects.bulk_create(
        models.Lesson(
            stage=row,
            position=position,
            code=lesson.code,
            title=lesson.title,
            objective=lesson.objective,
            completion=lesson.completion,
            plans=list(lesson.plans),
            **{kind: dt.timedelta(microseconds=time) for kind, time in lesson.times.items()},
        )
        for row, stage in zip(stages, outline.stages, strict=True)
        for position, lesson in enumerate(stage.lessons)
    )
    models.LessonItem.objects.bulk_create(
        models.LessonItem(lesson=row, item=items[code], minimum_grade=grade, position=position)
        for row, lesson in zip(lessons, outline.lessons, strict=True)
        for position, (code, grade) in enumerate(lesson.items.items())
    )
    models.CourseMinimum.objects.bulk_create(
        models.CourseMinimum(
            version=version,
            position=position,
            code=each.code,
            kind=each.kind,
            params=reader.plain(each.params),
            says=each.says,
            note=each.note,
        )
        for position, each in enumerate(outline.minimums)
    )


def _tolerance_row(each: Tolerance, item: models.Item, position: int) -> models.StandardTolerance:
    return models.StandardTolerance(
        item=item,
        position=position,
        name=each.name,
        quantity=each.quantity,
        target=each.target.kind,
        target_value=_decimal(each.target.value),
        target_name=each.target.name,
        low=_decimal(each.low),
        high=_decimal(each.high),
        low_inclusive=each.low_inclusive,
        high_inclusive=each.high_inclusive,
        basis=each.basis,
        source=each.source,
        verified=each.verified,
        note=each.note,
    )


@transaction.atomic
def publish(version: models.CourseVersion, at: dt.datetime) -> models.CourseVersion:
    """Freeze a draft as it stands in its rows; enrolments may then hold on to it.

    Raises: NotADraft where it is published already; CourseError where its rows do not hang together.
    """
    locked = models.CourseVersion.objects.select_for_update(of=("self",)).get(pk=version.pk)
    locked.still_a_draft()
    stands = outline(locked)
    _hang_together(stands)
    locked.state, locked.published_at, locked.content_hash = PUBLISHED, at, files.content_hash(stands)
    locked.save(update_fields=["state", "published_at", "content_hash"])
    return locked


def newest(code: str, school_ref: str | None, *, published: bool = True) -> models.CourseVersion | None:
    """The newest version of a course that is the school's own (or, with None, comes with the product)."""
    found = models.CourseVersion.objects.select_related("course").filter(
        course__code=code, course__school_ref=school_ref
    )
    if published:
        found = found.filter(state=PUBLISHED)
    return found.order_by("-number").first()


def open_to(school_ref: str) -> QuerySet[models.CourseVersion]:
    """The published versions that a school may enrol in: of its own courses and of those of the product."""
    return (
        models.CourseVersion.objects.select_related("course")
        .filter(Q(course__school_ref__isnull=True) | Q(course__school_ref=school_ref), state=PUBLISHED)
        .order_by("course__code", F("course__school_ref").asc(nulls_first=True), "number")
    )


def compare(old: models.CourseVersion, new: models.CourseVersion) -> tuple[Change, ...]:
    """What differs between two versions."""
    return changes.compare(outline(old), outline(new))


def carry_over(
    old: models.CourseVersion, new: models.CourseVersion, passed: Mapping[str, str]
) -> tuple[Carried, ...]:
    """For each item passed in the old version (code to newest grade): does it stand in the new, why not?"""
    return changes.carry_over(outline(old), outline(new), passed)


def school_requirements(school_ref: str, on: dt.date) -> dict[str, tuple[Requirement, ...]]:
    """A school's own minimums in force on a day, as requirements by milestone; one query."""
    found: dict[str, tuple[Requirement, ...]] = {}
    rows: Iterable[models.SchoolMinimum] = models.SchoolMinimum.objects.filter(
        Q(ends__isnull=True) | Q(ends__gte=on), school_ref=school_ref, starts__lte=on
    )
    for row in rows:
        found[row.milestone] = (*found.get(row.milestone, ()), row.as_requirement())
    return found


def course_milestone(stands: Outline) -> Milestone | None:
    """What the course asks for beyond the law, as a milestone of its own; None where that is nothing."""
    if not stands.minimums:
        return None
    name = f"{OF_A_COURSE}{stands.code}"
    always = dt.date(FIRST_YEAR, 1, 1)
    asked = tuple(as_requirement(each, name, "course", always) for each in stands.minimums)
    return Milestone(name, stands.title, f"Complete the course: {stands.title}", (), asked, order=1000)


def rulebook_for(
    school_ref: str | None, on: dt.date, version: models.CourseVersion | None = None
) -> Rulebook:
    """The law's rulebook with a school's minimums of a day in its milestones, and a course's beside them.

    Without a school, of the law and the course alone. One query for the school; those of ``outline``.

    Every added requirement names the school, in its id (``….school.…``) and in place of a citation. With any
    added the rulebook's id is another, a hash over the law's and what was added; without, it is the law's.
    """
    law = rulebook.current()
    added = {} if school_ref is None else school_requirements(school_ref, on)
    of_course = None
    if version is not None:
        stands = published(version) if version.state == PUBLISHED else outline(version)
        of_course = course_milestone(stands)
    if not added and of_course is None:
        return law
    milestones = dict(with_minimums(law, added).milestones)
    if of_course is not None:
        milestones[of_course.id] = of_course
    told = repr((law.id, sorted(added.items()), of_course))
    return Rulebook("sha256:" + hashlib.sha256(told.encode()).hexdigest(), milestones, law.texts, law.models)
