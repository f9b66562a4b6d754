"""Today: an instructor's students, most urgent first, each with the next lesson and why.

Expirations and remaining requirements come from what the nightly reminders store (``Lapse``, ``Standing``).
The next lesson is calculated once for each state of a record and then comes from the page cache. So twelve
students take at most a dozen queries, plus a few for each record that changed.
"""

import datetime as dt
import json
import uuid
from collections import defaultdict
from collections.abc import Iterable
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
from syllabus.engine.rules.rulebook import PRACTICAL_TEST
from syllabus.law import endorsements, rulebook
from training.models import Lapse, LessonRecord, Standing, Student, User
from training.services import access
from training.services.records import page_cache
from training.services.school import status_changes
from training.web.instructor.opening import teaches
from training.web.shared.opening import SignedIn, show, signed_in
from training.web.shared.report_presenter import FLIGHT_BY_FLIGHT, day
from training.web.shared.status_changes import words as status_change

AT_ONCE = 12
#: Days before its last day from which something needs the instructor. Common practice, a month.
SOON = 30
SIGN, LAPSE, BLOCKED, READY, CHANGED, CALM = range(6)


@dataclass(frozen=True)
class Need:
    """One thing that needs the instructor; ``kind`` is a CSS class."""

    rank: int
    kind: str
    mark: str
    words: str
    href: str = ""


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

    @property
    def goes_on(self) -> str:
        """The URL of the draft of the next lesson, if there is one."""
        return self.begun.get(self.next["lesson"], "") if self.next else ""

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
    look_ahead(listed, request.user, at)
    told = {
        "page": shown,
        "students": sorted(listed, key=lambda each: each.rank),
        "several_schools": len({each.student.school_id for each in pupils}) > 1,
        "counts": _counts(pupils),
        "today": day(listed[0].student.school.day(at) if listed else at.date()),
    }
    return show(request, "training/instructor/today.html", told)


def of(user: User, at: dt.datetime) -> list[Pupil]:
    """The students whom a user teaches today, most urgent first. Five queries."""
    teaching = access.RELATIONS["instructs"](user.pk, at.date())
    students = list(Student.objects.filter(teaching).select_related("school").order_by("name", "pk"))
    needs: dict[int, list[Need]] = defaultdict(list)
    by_key = {each.pk: each for each in students}
    begun = _drafts(user, by_key, needs)
    _lapses(by_key, at, needs)
    _ready(by_key, needs)
    for each in status_changes.of(students, at):
        said = _("Since yesterday: %(milestone)s, %(words)s")
        told = said % {"milestone": each.title, "words": status_change(each)}
        needs[each.student.pk].append(Need(CHANGED, "changed", "↻", told, reverse("since-yesterday")))
    pupils = [
        Pupil(each, sorted(needs[each.pk], key=lambda need: need.rank), begun=begun[each.pk])
        for each in students
    ]
    return sorted(pupils, key=lambda each: each.rank)


def _drafts(
    user: User, students: dict[int, Student], needs: dict[int, list[Need]]
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
        words = said % {"lesson": each.lesson or _("a lesson outside the course"), "day": begun}
        href = reverse("lesson-sheet", args=[student.ref, each.pk])
        needs[student.pk].append(Need(SIGN, "sign", "✎", words, href))
        if each.lesson and not each.corrects_id:
            begun_at[student.pk][each.lesson] = href
    return begun_at


def _lapses(students: dict[int, Student], at: dt.datetime, needs: dict[int, list[Need]]) -> None:
    last = at.date() + dt.timedelta(days=SOON + 1)
    first = at.date() - dt.timedelta(days=1)
    rows = Lapse.objects.filter(
        student__in=students, gone_at__isnull=True, last_day__gte=first, last_day__lte=last
    ).order_by("last_day", "pk")
    for each in rows:
        student = students[each.student_id]
        left = (each.last_day - student.school.day(at)).days
        if not 0 <= left <= SOON:
            continue
        cited = f" ({each.citations[0]})" if each.citations else ""
        lapse = {"day": day(each.last_day), "left": left, "what": f"{each.says}{cited}"}
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
        needs[student.pk].append(Need(LAPSE, "lapse", "◷", words, reverse("teach", args=[student.ref])))


def _ready(students: dict[int, Student], needs: dict[int, list[Need]]) -> None:
    """Add the students who need only an endorsement for a milestone."""
    only_given = _given_last()
    tests = {each.id for each in rulebook.current().in_role(PRACTICAL_TEST)}
    for each in Standing.objects.filter(student__in=students).only("student_id", "summary"):
        student = students[each.student_id]
        for milestone in each.summary.get("milestones", ()):
            gap = milestone.get("next_gap")
            if gap and gap["requirement"] in only_given.get(milestone["milestone"], ()):
                said = _("Only your endorsement is missing: %(milestone)s")
                words = said % {"milestone": milestone["title"]}
                href = reverse("endorse", args=[student.ref])
                needs[student.pk].append(Need(READY, "ready", "★", words, href))
            elif milestone["milestone"] in tests and milestone.get("eligible"):
                said = _("All requirements met: %(milestone)s")
                words = said % {"milestone": milestone["title"]}
                href = reverse("student", args=[student.ref])
                needs[student.pk].append(Need(READY, "ready", "★", words, href))


def _given_last() -> dict[str, set[str]]:
    """For each milestone of the course, the requirements after which only endorsements follow.

    Endorsements for a single flight are left out.
    """
    rules = rulebook.current()
    given = {each for kind in endorsements.current().kinds.values() for each in kind.proves}
    found: dict[str, set[str]] = {}
    for milestone in rules.on_the_way():
        last: set[str] = set()
        for requirement in reversed(milestone.requirements):
            if requirement.id not in given:
                break
            if requirement.kind != FLIGHT_BY_FLIGHT:
                last.add(requirement.id)
        found[milestone.id] = last
    return found


def _counts(pupils: Iterable[Pupil]) -> list[dict[str, Any]]:
    listed = list(pupils)
    numbers = {
        SIGN: sum(each.rank == SIGN for pupil in listed for each in pupil.needs),
        LAPSE: sum(any(each.rank == LAPSE for each in pupil.needs) for pupil in listed),
        READY: sum(any(each.rank == READY for each in pupil.needs) for pupil in listed),
    }
    words = {
        SIGN: ngettext("lesson to sign", "lessons to sign", numbers[SIGN]),
        LAPSE: ngettext("student with an expiration", "students with expirations", numbers[LAPSE]),
        READY: ngettext("student ready for a milestone", "students ready for a milestone", numbers[READY]),
    }
    return [{"number": number, "words": words[rank]} for rank, number in numbers.items() if number]


def look_ahead(pupils: list[Pupil], user: User, at: dt.datetime) -> None:
    """Add each student's next lesson, or that none is open. The readings are logged in one insert."""
    asked = [(each.student, each.student.school.day(at)) for each in pupils]
    for each, told in zip(pupils, page_cache.parts(asked, "next"), strict=True):
        found = json.loads(told) or {"proposal": None, "blocked": [], "says": ""}
        each.next, each.says = found["proposal"], found["says"] or _("Not enrolled in a course.")
        again = each.next is None or each.next["why"][0]["kind"] == AGAIN
        if again and found["blocked"]:
            first = found["blocked"][0]
            said = _("Blocked: %(lesson)s %(title)s. %(why)s")
            why = "; ".join(first["brief"])
            words = said % {**first, "why": f"{why[0].upper()}{why[1:]}"}
            href = reverse("teach", args=[each.student.ref])
            each.needs.append(Need(BLOCKED, "blocked", "⊘", words, href))
            each.needs.sort(key=lambda need: need.rank)
    named = access.schools_of(each.student for each in pupils)
    access.log_each(user, named, access.READ, "progress and next lesson", via="web", at=at)
