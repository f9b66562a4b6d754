"""The milestones whose status changed since yesterday, from each student's stored summaries.

A changed record is summarized within a minute or two, a new day by the first sweeps of that day at the
school. Both leave a row (``StandingChange``); the rows of a day are the changes of that day.
"""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from syllabus.law import rulebook
from training.models import Standing, StandingChange, Student, User
from training.services import access

#: The most that are listed; a change of the rules at a large school may give more.
MOST = 300


@dataclass(frozen=True, slots=True)
class ChangedMilestone:
    """One milestone of a student whose status changed since the end of yesterday.

    ``before`` and ``after`` are ``{"met", "eligible_until", "gaps"}``; ``before`` is None if the milestone
    was not checked before.
    """

    student: Student
    milestone: str
    title: str
    on: dt.date
    before: dict[str, Any] | None
    after: dict[str, Any]


def of(students: Iterable[Student], at: dt.datetime) -> list[ChangedMilestone]:
    """Today's changes at the school of each of these students, by name; ``MOST`` at most.

    Reversed changes are left out. Queries: 1, and 1 more for requirements of a course.
    """
    near = at.date() - dt.timedelta(days=1), at.date() + dt.timedelta(days=1)
    rows = StandingChange.objects.filter(student__in=students, on__range=near)
    rows = rows.select_related("student__school").order_by("student__name", "student_id", "at", "pk")
    first: dict[tuple[int, str], StandingChange] = {}
    last: dict[tuple[int, str], StandingChange] = {}
    for each in rows:
        if each.on == each.student.school.day(at):
            first.setdefault((each.student_id, each.milestone), each)
            last[(each.student_id, each.milestone)] = each
    changed = [key for key in first if first[key].before != last[key].after][:MOST]
    titles = _titles(changed)
    return [
        ChangedMilestone(
            last[key].student,
            key[1],
            titles.get(key, key[1]),
            last[key].on,
            first[key].before,
            last[key].after,
        )
        for key in changed
    ]


def _titles(changed: list[tuple[int, str]]) -> dict[tuple[int, str], str]:
    milestones = rulebook.current().milestones
    found = {key: milestones[key[1]].title for key in changed if key[1] in milestones}
    of_courses = {student for student, milestone in changed if milestone not in milestones}
    if of_courses:
        for student, summary in Standing.objects.filter(student__in=of_courses).values_list(
            "student_id", "summary"
        ):
            found |= {(student, each["milestone"]): each["title"] for each in summary["milestones"]}
    return found


def seen_by(user: User, at: dt.datetime, *, via: str) -> list[ChangedMilestone]:
    """Today's changes for everybody whose record a user may read; the reading is logged for each student
    named.
    """
    found = of(access.visible_students(user, on=at.astimezone(dt.UTC).date()), at)
    named = [each.student for each in found]
    access.log_each(user, access.schools_of(named), access.READ, "changes since yesterday", via=via, at=at)
    return found
