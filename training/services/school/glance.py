"""The school at a glance, from stored summaries, with the same few queries for any number of students."""

import datetime as dt
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from django.db.models import FilteredRelation
from django.utils.translation import gettext as _

from syllabus.courses import outlines
from training.ledger.models import Checkpoint
from training.ledger.store import checkpoints
from training.models import Enrolment, Lapse, LessonRecord, Role, School, Student, User
from training.reports import airworthiness, instructing
from training.services import access
from training.services.signing import seals

#: Days ahead for expirations, and back for an instructor's hours. Common practice.
AHEAD, BACK = 30, 7
#: The most of each that are listed by name.
MOST_NAMED = 60


@dataclass
class StageCount:
    """How many students of a course have their furthest signed lesson in a stage."""

    course: str
    stage: str
    students: int


@dataclass
class MilestoneCount:
    """How many students meet a milestone, do not, are unknown, or are not covered by the rules."""

    id: str
    title: str
    yes: int = 0
    no: int = 0
    open: int = 0
    not_covered: int = 0

    @property
    def of_law(self) -> bool:
        return not self.id.startswith(outlines.OF_A_COURSE)


@dataclass(frozen=True)
class Duty:
    """An instructor with the role, and the fullest hours of the last days."""

    role: Role
    hours: instructing.Hours | None
    ratings: tuple[str, ...] | None
    days_left: int | None


@dataclass
class Glance:
    """The page's data. ``oldest`` is the day of the oldest standing in ``milestones``."""

    on: dt.date
    students: int = 0
    in_course: int = 0
    stages: list[StageCount] = field(default_factory=list)
    milestones: list[MilestoneCount] = field(default_factory=list)
    not_worked_out: int = 0
    oldest: dt.date | None = None
    lapses: list[Lapse] = field(default_factory=list)
    #: Expirations of aircraft, past ones and those within ``AHEAD`` days.
    aircraft: list[airworthiness.Held] = field(default_factory=list)
    drafts: list[tuple[LessonRecord, int]] = field(default_factory=list)
    instructors: list[Duty] = field(default_factory=list)
    checkpoint: Checkpoint | None = None


def of(school: School, *, by: User, at: dt.datetime) -> Glance:
    """Everything; the reading is logged for each student named.

    Queries: 9 at most, and those of a course never read before.
    """
    on = school.day(at)
    found = Glance(on)
    _stages(school, _students(school, on, found), found)
    lapses = Lapse.objects.filter(
        school=school, gone_at__isnull=True, last_day__range=(on, on + dt.timedelta(days=AHEAD))
    )
    found.lapses = list(lapses.select_related("student").order_by("last_day", "student__name", "pk"))
    soon = on + dt.timedelta(days=AHEAD)
    found.aircraft = [each for each in airworthiness.held([school], on) if each.last <= soon]
    drafts = LessonRecord.objects.filter(school=school, state=LessonRecord.State.DRAFT)
    found.drafts = [
        (each, max(0, (on - school.day(each.created_at)).days))
        for each in drafts.select_related("student", "instructor").order_by("created_at", "pk")
        if not each.only_planned
    ]
    _instructors(school, on, found)
    found.checkpoint = checkpoints.newest(seals.tree_of(school))
    _note_read(school, found, by, at)
    return found


@dataclass(frozen=True)
class Taken:
    """The version of a course in which someone is enrolled."""

    pk: int
    content_hash: str
    title: str
    number: int

    def lessons(self) -> list[tuple[str, str]]:
        """The code of each lesson and the title of its stage, in order."""
        outline = outlines.published_as(self.pk, self.content_hash)
        return [(lesson.code, stage.title) for stage in outline.stages for lesson in stage.lessons]


def _students(school: School, on: dt.date, found: Glance) -> dict[int, Taken]:
    """Count the students and their milestones; returns each student's course. One query."""
    version = "running__course_version"
    rows = Student.objects.filter(school=school).annotate(
        running=FilteredRelation("enrolments", condition=Enrolment.in_force(on, "enrolments__"))
    )
    counted: set[int] = set()
    enrolled: dict[int, Taken] = {}
    for pk, worked_out, summary, *taken in rows.order_by("running__starts", "running__pk").values_list(
        "pk", "standing__on", "standing__summary",
        version, f"{version}__content_hash", f"{version}__title", f"{version}__number",
    ):  # fmt: skip
        if taken[0] is not None:
            enrolled[pk] = Taken(*taken)
        if pk not in counted:
            counted.add(pk)
            _milestones(worked_out, summary, found)
    found.students, found.in_course = len(counted), len(enrolled)
    return enrolled


def _milestones(on: dt.date | None, summary: dict[str, Any] | None, found: Glance) -> None:
    if on is None or summary is None:
        found.not_worked_out += 1
        return
    found.oldest = min(found.oldest or on, on)
    counts = {each.id: each for each in found.milestones}
    refused = summary.get("not_covered", [])
    for each in (*summary["milestones"], *refused):
        count = counts.get(each["milestone"])
        if count is None:
            count = MilestoneCount(each["milestone"], each["title"])
            found.milestones.append(count)
        if "met" not in each:
            count.not_covered += 1
        elif each["met"] is None:
            count.open += 1
        elif each["met"]:
            count.yes += 1
        else:
            count.no += 1


def _stages(school: School, enrolled: dict[int, Taken], found: Glance) -> None:
    order = {
        version: {code: (place, stage) for place, (code, stage) in enumerate(version.lessons())}
        for version in set(enrolled.values())
    }
    furthest: dict[int, tuple[int, str]] = {}
    signed = (
        LessonRecord.objects.filter(
            school=school, state=LessonRecord.State.SIGNED, correction__isnull=True, student__in=enrolled
        )
        .exclude(lesson="")
        .values_list("student_id", "lesson")
        .order_by()
        .distinct()
    )
    for student, code in signed:
        place = order[enrolled[student]].get(code)
        if place is not None:
            furthest[student] = max(furthest.get(student, place), place)
    not_begun = _("No lesson signed yet")
    counts: Counter[tuple[Taken, str]] = Counter()
    for student, version in enrolled.items():
        counts[(version, furthest[student][1] if student in furthest else not_begun)] += 1
    for version in sorted(order, key=lambda each: (each.title, each.number)):
        title = _("%(course)s, version %(number)d") % {"course": version.title, "number": version.number}
        stages = dict.fromkeys([not_begun, *(stage for _, stage in order[version].values())])
        found.stages += [StageCount(title, stage, counts[(version, stage)]) for stage in stages]


def _instructors(school: School, on: dt.date, found: Glance) -> None:
    rows = Role.objects.filter(school=school, role=Role.Kind.INSTRUCTOR).select_related("user")
    roles = list(rows.order_by("user__name", "pk"))
    hours = instructing.fullest_of(school, roles, on - dt.timedelta(days=BACK), on)
    for role in roles:
        held = instructing.ratings(role)
        last = role.recent_experience_until
        found.instructors.append(
            Duty(
                role,
                hours.get(role.user_id),
                None if held is None else tuple(map(str, held)),
                None if last is None else (last - on).days,
            )
        )


def _note_read(school: School, found: Glance, by: User, at: dt.datetime) -> None:
    """Log, in one insert, that the students named on the page were read."""
    named: dict[int, None] = dict.fromkeys(each.student_id for each in found.lapses[:MOST_NAMED])
    named |= dict.fromkeys(each.student_id for each, _ in found.drafts[:MOST_NAMED])
    access.log_each(by, dict.fromkeys(named, school.pk), access.READ, "school at a glance", via="web", at=at)
