"""Finds students, lessons, people and aircraft by words, among those that the user may see."""

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import reduce
from operator import and_, or_
from typing import TypeVar

from django.db.models import Model, Q, QuerySet

from syllabus.courses import outlines
from syllabus.engine.record.reading import FIRST_YEAR
from syllabus.models import CourseVersion
from training.models import Aircraft, LessonRecord, Role, Student, User
from training.services import access

#: The most results of each kind.
MOST = 20
MOST_TEXT, MOST_WORDS = 100, 6
Row = TypeVar("Row", bound=Model)
#: The title of each lesson, by the primary key of its course's version and its code.
Titles = dict[tuple[int, str], str]


@dataclass
class Found:
    """The results of each kind, and the kinds with ``more``.

    ``writable`` has the primary keys of the students whose record the user may write, ``administers`` and
    ``instructs`` those of the user's schools.
    """

    students: list[Student] = field(default_factory=list)
    lessons: list[LessonRecord] = field(default_factory=list)
    people: list[Role] = field(default_factory=list)
    aircraft: list[Aircraft] = field(default_factory=list)
    more: set[str] = field(default_factory=set)
    writable: set[int] = field(default_factory=set)
    administers: set[int] = field(default_factory=set)
    instructs: set[int] = field(default_factory=set)

    @property
    def nothing(self) -> bool:
        return not (self.students or self.lessons or self.people or self.aircraft)


def find(user: User, text: str, *, via: str, at: dt.datetime) -> Found:
    """Everything that contains every word of ``text``. The reading is logged for each student named.

    A student by name; a lesson by its student, instructor, code, title, day (2026-03-02) or aircraft; a
    person by name or e-mail address; an aircraft by registration or model.

    Queries: 8 at most, and those of ``outlines.published_as`` for a course that was not read yet.
    """
    found, words = Found(), text[:MOST_TEXT].replace("\x00", "").split()[:MOST_WORDS]
    if not words:
        return found
    schools: dict[str, set[int]] = defaultdict(set)
    for school, kind in Role.objects.filter(user=user).values_list("school_id", "role"):
        schools[kind].add(school)
    found.administers, found.instructs = schools[Role.Kind.ADMINISTRATOR], schools[Role.Kind.INSTRUCTOR]
    seen = access.visible_students(user, on=at.date())
    students = _holding(seen.select_related("school"), words, lambda word: _in("name", word))
    found.students = _some(students.order_by("name", "pk"), "students", found)
    found.lessons = _lessons(lessons_seen(user, on=at.date()), words, found)
    if found.administers:
        roles = Role.objects.filter(school__in=found.administers).select_related("user", "school")
        people = _holding(roles, words, lambda word: _in("user__name", word) | _in("user__email", word))
        found.people = _some(people.order_by("user__name", "pk"), "people", found)
    if fleets := found.administers | found.instructs:
        listed = Aircraft.objects.filter(school__in=fleets).select_related("school")
        craft = _holding(listed, words, lambda word: _in("registration", word) | _in("model", word))
        found.aircraft = _some(craft.order_by("registration", "pk"), "aircraft", found)
    named = access.schools_of((*found.students, *(each.student for each in found.lessons)))
    if named:
        writable = access.visible_students(user, access.WRITE, on=at.date()).filter(pk__in=named)
        found.writable = set(writable.values_list("pk", flat=True))
        access.log_each(user, named, access.READ, "search", via=via, at=at)
    return found


def lessons_seen(user: User, *, on: dt.date) -> QuerySet[LessonRecord]:
    """The lesson records of all students whose record a user may read, as ``lesson_records.visible``."""
    signed = Q(state=LessonRecord.State.SIGNED)
    others = ~Q(student__user=user) | Q(student__user__isnull=True)
    drafts = Q(student__in=access.visible_students(user, access.WRITE, on=on)) & others
    return LessonRecord.objects.filter(
        signed | drafts, student__in=access.visible_students(user, on=on)
    ).select_related("student__school", "instructor", "course_version__course")


def _holding(rows: QuerySet[Row], words: Sequence[str], holds: Callable[[str], Q]) -> QuerySet[Row]:
    return rows.filter(reduce(and_, map(holds, words)))


def _in(column: str, word: str) -> Q:
    """That a column contains a word, in any case.

    SQLite folds ASCII letters only, so each usual form of the word is searched for.
    """
    forms = {word} if word.isascii() else {word, word.lower(), word.upper(), word.title()}
    return reduce(or_, (Q(**{f"{column}__icontains": each}) for each in sorted(forms)))


def _lessons(seen: QuerySet[LessonRecord], words: Sequence[str], found: Found) -> list[LessonRecord]:
    """The lessons that contain every word, each with its ``title`` in its course. Two queries."""
    pinned = CourseVersion.objects.filter(pk__in=seen.order_by().values("course_version"))
    titles = {
        (pk, lesson.code): lesson.title
        for pk, content_hash in pinned.values_list("pk", "content_hash")
        for lesson in outlines.published_as(pk, content_hash).lessons
    }
    lessons = _holding(seen, words, lambda word: _lesson(word, titles))
    some = _some(lessons.order_by("-created_at", "id"), "lessons", found)
    for each in some:
        of_course = (each.course_version_id, each.lesson)
        each.title = titles.get(of_course)  # type: ignore[attr-defined,arg-type]
    return some


def _lesson(word: str, titles: Titles) -> Q:
    asked = (
        _in("lesson", word)
        | _in("student__name", word)
        | _in("instructor__name", word)
        | _in("aircraft_registration", word)
    )
    called: dict[int, list[str]] = defaultdict(list)
    for (version, code), title in titles.items():
        if word.casefold() in title.casefold():
            called[version].append(code)
    for version, codes in called.items():
        asked |= Q(course_version=version, lesson__in=codes)
    try:
        day = dt.date.fromisoformat(word)
    except ValueError:
        return asked
    if day.year < FIRST_YEAR:
        return asked
    return asked | Q(content__flight__date=day.isoformat()) | Q(content__ground__date=day.isoformat())


def _some(rows: QuerySet[Row], what: str, found: Found) -> list[Row]:
    first = list(rows[: MOST + 1])
    if len(first) > MOST:
        found.more.add(what)
    return first[:MOST]
