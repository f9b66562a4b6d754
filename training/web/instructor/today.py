"""Today: an instructor's students, most urgent first, each with the next lesson and what is still missing.

All of it is calculated once for each state of a record, and then comes from the page cache, whose key holds
that state: what was just signed counts at once. So the page takes at most a dozen queries, plus a few for
each record that changed.
"""

import datetime as dt
import json
import uuid
import zoneinfo
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from syllabus.engine.course.next_lesson import AGAIN
from training.models import LessonRecord, Student, StudentRequest, User
from training.presenters.days import instant
from training.reports.closing import DOCUMENT, ENDORSEMENT, LESSON
from training.services import access
from training.services.people import requests
from training.services.records import page_cache
from training.services.school import status_changes
from training.web.instructor import answering
from training.web.instructor.opening import teaches
from training.web.shared.opening import SignedIn, show, signed_in
from training.web.shared.report_presenter import day
from training.web.shared.status_changes import words as status_change

AT_ONCE = 12
SIGN, ASKS, FLIES, LAPSE, BLOCKED, READY, CHANGED, CALM = range(8)


@dataclass(frozen=True)
class Need:
    """One thing that needs the instructor; ``kind`` is a CSS class."""

    rank: int
    kind: str
    mark: str
    words: str
    href: str = ""
    #: A request, which is answered in place.
    request: StudentRequest | None = None


@dataclass
class Step:
    """What closes some gaps: ``kind`` and ``name`` as in ``reports.closing``, ``href`` the page of it. A
    lesson without a page is one to start: outside the course if it has no name.
    """

    kind: str
    name: str
    title: str = ""
    href: str = ""
    gaps: list[dict[str, Any]] = field(default_factory=list)
    new: uuid.UUID = field(default_factory=uuid.uuid4)


@dataclass
class Pupil:
    """A student in the list."""

    student: Student
    needs: list[Need] = field(default_factory=list)
    next: dict[str, Any] | None = None
    says: str = ""
    new: uuid.UUID = field(default_factory=uuid.uuid4)
    #: URLs of the drafts, by the lesson's code.
    begun: dict[str, str] = field(default_factory=dict)
    #: The next milestone, and what it still needs.
    toward: str = ""
    steps: list["Step"] = field(default_factory=list)

    @property
    def goes_on(self) -> str:
        """The URL of the draft of the next lesson, if there is one."""
        return self.begun.get(self.next["lesson"], "") if self.next else ""

    @property
    def to_go(self) -> int:
        """How many requirements of the next milestone are not met."""
        return sum(len(each.gaps) for each in self.steps)

    @property
    def rank(self) -> int:
        return min((each.rank for each in self.needs), default=CALM)


@signed_in("GET")
def today(request: SignedIn) -> HttpResponse:
    """The page. Each record read is logged."""
    if not teaches(request.user):
        return redirect("home")
    return page(request)


def page(request: SignedIn) -> HttpResponse:
    at = timezone.now()
    pupils = of(request.user, at)
    shown = Paginator(pupils, AT_ONCE).get_page(request.GET.get("page"))
    listed = list(shown.object_list)
    note_read(listed, request.user, at)
    told = {
        "page": shown,
        "students": listed,
        "several_schools": len({each.student.school_id for each in pupils}) > 1,
        "counts": _counts(pupils),
        "today": day(listed[0].student.school.day(at) if listed else at.date()),
    }
    return show(request, "training/instructor/today.html", told)


def of(user: User, at: dt.datetime) -> list[Pupil]:
    """The students whom a user teaches today, most urgent first. Six queries."""
    teaching = access.RELATIONS["instructs"](user.pk, at.date())
    students = list(Student.objects.filter(teaching).select_related("school").order_by("name", "pk"))
    needs: dict[int, list[Need]] = defaultdict(list)
    by_key = {each.pk: each for each in students}
    begun = _drafts(user, by_key, at, needs)
    asking, flying = answering.of(by_key, at)
    for row in asking:
        words = _("Asks for %(what)s") % {"what": requests.words(row)}
        needs[row.student_id].append(Need(ASKS, "asks", "✉", words, request=row))
    to_decide, released = answering.releases(by_key, at)
    for release in to_decide:
        off = dt.datetime.fromisoformat(release.flight["off"])
        said = _("Asks for a solo release: %(takeoff)s")
        words = said % {"takeoff": instant(off, zoneinfo.ZoneInfo(release.student.school.time_zone))}
        href = reverse("solo-release", args=[release.student.ref, release.pk])
        needs[release.student_id].append(Need(ASKS, "asks", "✉", words, href))
    for key in flying | released:
        needs[key].append(
            Need(FLIES, "flies", "✈", _("Flies today"), reverse("teach", args=[by_key[key].ref]))
        )
    for each in status_changes.of(students, at):
        said = _("Since yesterday: %(milestone)s, %(words)s")
        told = said % {"milestone": each.title, "words": status_change(each)}
        needs[each.student.pk].append(Need(CHANGED, "changed", "↻", told, reverse("since-yesterday")))
    asked = [(each, each.school.day(at)) for each in students]
    pupils = []
    for (student, on), told in zip(asked, page_cache.parts(asked, "next"), strict=True):
        found = json.loads(told)
        found_needs = [*needs[student.pk], *_ending(student, on, found), *_ready(student, found)]
        pupil = Pupil(student, [*found_needs, *_blocked(student, found)], begun=begun[student.pk])
        pupil.next, pupil.says = found["proposal"], found["says"] or _("Not enrolled in a course.")
        pupil.needs.sort(key=lambda need: need.rank)
        if found["toward"]:
            pupil.toward = found["toward"]["title"]
            pupil.steps = _steps(pupil, found["toward"]["gaps"])
        pupils.append(pupil)
    return sorted(pupils, key=lambda each: each.rank)


def _drafts(
    user: User, students: dict[int, Student], at: dt.datetime, needs: dict[int, list[Need]]
) -> dict[int, dict[str, str]]:
    """Add the lessons to sign, and return each student's drafts: their URLs by the lesson's code."""
    begun_at: dict[int, dict[str, str]] = defaultdict(dict)
    drafts = LessonRecord.objects.filter(
        student__in=students, instructor=user, state=LessonRecord.State.DRAFT
    ).order_by("created_at", "pk")
    for each in drafts:
        student = students[each.student_id]
        begun = day(student.school.day(each.created_at))
        said = (
            _("To sign: %(lesson)s, started %(day)s, a correction")
            if each.corrects_id
            else _("To sign: %(lesson)s, started %(day)s")
        )
        if (each.content.get("flight") or {}).get("date") == student.school.day(at).isoformat():
            said = _("Flies today, to sign: %(lesson)s")
        words = said % {"lesson": each.lesson or _("a lesson outside the course"), "day": begun}
        href = reverse("lesson-sheet", args=[student.ref, each.pk])
        needs[student.pk].append(Need(SIGN, "sign", "✎", words, href))
        if each.lesson and not each.corrects_id:
            begun_at[student.pk][each.lesson] = href
    return begun_at


def _ending(student: Student, on: dt.date, found: dict[str, Any]) -> Iterator[Need]:
    """What expires soon."""
    for each in found["ending"]:
        last = dt.date.fromisoformat(each["last"])
        left = (last - on).days
        lapse = {"day": day(last), "left": left, "what": each["what"]}
        if left == 0:
            words = _("Expires today, %(day)s: %(what)s") % lapse
        elif left == 1:
            words = _("Expires tomorrow, %(day)s: %(what)s") % lapse
        else:
            said = ngettext(
                "Expires %(day)s, in %(left)d day: %(what)s",
                "Expires %(day)s, in %(left)d days: %(what)s",
                left,
            )
            words = said % lapse
        yield Need(LAPSE, "lapse", "◷", words, reverse("teach", args=[student.ref]))


def _ready(student: Student, found: dict[str, Any]) -> Iterator[Need]:
    """A milestone that needs only endorsements, and tests for which everything is met."""
    toward = found["toward"]
    if toward and all(each["closes"]["kind"] == ENDORSEMENT for each in toward["gaps"]):
        words = _("Only your endorsement is missing: %(milestone)s") % {"milestone": toward["title"]}
        yield Need(READY, "ready", "★", words, reverse("endorse", args=[student.ref]))
    for title in found["ready"]:
        words = _("All requirements met: %(milestone)s") % {"milestone": title}
        yield Need(READY, "ready", "★", words, reverse("student", args=[student.ref]))


def _blocked(student: Student, found: dict[str, Any]) -> Iterator[Need]:
    """The first lesson that is blocked, where no other one is new."""
    again = found["proposal"] is None or found["proposal"]["why"][0]["kind"] == AGAIN
    if again and found["blocked"]:
        first = found["blocked"][0]
        why = "; ".join(first["brief"])
        said = _("Blocked: %(lesson)s %(title)s. %(why)s")
        words = said % {**first, "why": f"{why[0].upper()}{why[1:]}"}
        yield Need(BLOCKED, "blocked", "⊘", words, reverse("teach", args=[student.ref]))


def _steps(pupil: Pupil, gaps: list[dict[str, Any]]) -> list[Step]:
    """The gaps of the next milestone, those together that the same page or lesson closes."""
    steps: dict[tuple[str, str], Step] = {}
    ref = pupil.student.ref
    for each in gaps:
        closes = each["closes"]
        step = steps.setdefault((closes["kind"], closes["name"]), Step(closes["kind"], closes["name"]))
        step.gaps.append(each)
        step.title = closes["title"]
        if step.kind == ENDORSEMENT:
            step.href = (
                reverse("endorse-kind", args=[ref, step.name])
                if step.name
                else reverse("endorse", args=[ref])
            )
        elif step.kind == DOCUMENT:
            step.href = reverse("papers", args=[ref])
        elif step.kind == LESSON:
            step.href = pupil.begun.get(step.name, "")
    return list(steps.values())


def _counts(pupils: Iterable[Pupil]) -> list[dict[str, Any]]:
    listed = list(pupils)
    numbers = {
        SIGN: sum(each.rank == SIGN for pupil in listed for each in pupil.needs),
        ASKS: sum(each.rank == ASKS for pupil in listed for each in pupil.needs),
        FLIES: sum(any(each.rank == FLIES for each in pupil.needs) for pupil in listed),
        LAPSE: sum(any(each.rank == LAPSE for each in pupil.needs) for pupil in listed),
        READY: sum(any(each.rank == READY for each in pupil.needs) for pupil in listed),
    }
    words = {
        SIGN: ngettext("lesson to sign", "lessons to sign", numbers[SIGN]),
        ASKS: ngettext("request to answer", "requests to answer", numbers[ASKS]),
        FLIES: ngettext("student flies today", "students fly today", numbers[FLIES]),
        LAPSE: ngettext("student with an expiration", "students with expirations", numbers[LAPSE]),
        READY: ngettext("student ready for a milestone", "students ready for a milestone", numbers[READY]),
    }
    return [{"number": number, "words": words[rank]} for rank, number in numbers.items() if number]


def note_read(pupils: list[Pupil], user: User, at: dt.datetime) -> None:
    """Log that these students were read. One insert."""
    named = access.schools_of(each.student for each in pupils)
    access.log_each(user, named, access.READ, "progress and next lesson", via="web", at=at)
