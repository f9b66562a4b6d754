"""Saves, publishes and reads versions of courses; adds a school's minimums to the rules."""

import datetime as dt
import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache

from django.db import transaction
from django.db.models import F, Q, QuerySet

from syllabus import models
from syllabus.courses import files
from syllabus.engine.course.course import CourseError, Outline
from syllabus.engine.record.reading import FIRST_YEAR
from syllabus.engine.rules.minimums import as_requirement, with_minimums
from syllabus.engine.rules.rulebook import Milestone, Requirement, Rulebook
from syllabus.law import rulebook
from syllabus.models.courses import DRAFT, PUBLISHED


@dataclass(frozen=True, slots=True)
class Saved:
    """The version, and whether anything was written."""

    version: models.CourseVersion
    changed: bool


def outline(version: models.CourseVersion) -> Outline:
    """A version as the engine takes it. One query. Raises: CourseError if it cannot be read."""
    parts = models.CourseParts.objects.values_list("document", flat=True).get(version=version)
    return files.read_kept(
        {"course": version.course.code, "title": version.title, "says": version.says, **parts}
    )


#: The start of the id of a course's own milestone.
OF_A_COURSE = "course."


def published(version: models.CourseVersion) -> Outline:
    """A published version's outline, read once because it never changes."""
    return published_as(version.pk, version.content_hash)


@lru_cache(maxsize=64)
def published_as(pk: int, content_hash: str) -> Outline:
    """The same by its primary key and hash: in another database the key may be another version's.

    Raises: CourseVersion.DoesNotExist.
    """
    return outline(
        models.CourseVersion.objects.select_related("course").get(pk=pk, content_hash=content_hash)
    )


@transaction.atomic
def save(
    outline: Outline,
    school_ref: str | None = None,
    *,
    allow: Callable[[models.CourseVersion | None], None] = lambda newest: None,
) -> Saved:
    """Save a course as the draft of its next version; it replaces the current draft.

    If it equals the newest version, nothing is written and that version is returned. Otherwise ``allow`` is
    called, under the lock, with the newest version (None if there is none); it may raise.

    Raises: CourseError if the course is inconsistent.
    """
    _hang_together(outline)
    course, _ = models.Course.objects.get_or_create(code=outline.code, school_ref=school_ref)
    models.Course.objects.select_for_update(no_key=True).get(pk=course.pk)  # one writer at a time
    last = newest(outline.code, school_ref, published=False)
    content = files.content_hash(outline)
    if last is not None and last.content_hash == content:
        return Saved(last, False)
    allow(last)
    number = 1 if last is None else last.number + 1
    if last is not None and last.state == DRAFT:
        number = last.number
        last.delete()
    version = models.CourseVersion.objects.create(
        course=course, number=number, content_hash=content, title=outline.title, says=outline.says
    )
    models.CourseParts.objects.create(version=version, document=files.parts(outline))
    return Saved(version, True)


def _hang_together(outline: Outline) -> None:
    if errors := files.errors_of(outline):
        raise CourseError(errors)


@transaction.atomic
def publish(version: models.CourseVersion, at: dt.datetime) -> models.CourseVersion:
    """Publish a draft as it is in the database; enrollments may then use it.

    Raises: NotADraft if it is published already; CourseError if it is inconsistent.
    """
    locked = models.CourseVersion.objects.select_for_update(of=("self",), no_key=True).get(pk=version.pk)
    locked.still_a_draft()
    stands = outline(locked)
    _hang_together(stands)
    locked.state, locked.published_at, locked.content_hash = PUBLISHED, at, files.content_hash(stands)
    locked.save(update_fields=["state", "published_at", "content_hash"])
    return locked


def newest(code: str, school_ref: str | None, *, published: bool = True) -> models.CourseVersion | None:
    """The newest version of a school's own course (or, with None, of a built-in one)."""
    found = models.CourseVersion.objects.select_related("course").filter(
        course__code=code, course__school_ref=school_ref
    )
    if published:
        found = found.filter(state=PUBLISHED)
    return found.order_by("-number").first()


def open_to(school_ref: str) -> QuerySet[models.CourseVersion]:
    """The published versions that a school may use: of its own courses and the built-in ones."""
    return (
        models.CourseVersion.objects.select_related("course")
        .filter(Q(course__school_ref__isnull=True) | Q(course__school_ref=school_ref), state=PUBLISHED)
        .order_by("course__code", F("course__school_ref").asc(nulls_first=True), "number")
    )


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
    """The course's requirements beyond the law, as a milestone of its own; None without any."""
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

    Without a school, only the law and the course. One query for the school; those of ``outline``.

    Every added requirement names the school, in its id (``….school.…``) and in place of a citation. If any
    are added, the rulebook's id is a hash over the law's id and them; otherwise it is the law's.
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
