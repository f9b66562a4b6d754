"""The student's pages: where I stand, my hours, lessons and record. Who may read the record sees them too."""

from __future__ import annotations

import datetime as dt
import json
import uuid
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.db.models import Count, Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST, require_safe

from syllabus import rulebook
from syllabus.engine.report import CAUTION
from training import reports
from training.models import Acknowledgement, LessonRecord, Student, User
from training.reports import progress
from training.reports.eligibility import record_of
from training.services import access, confirming, lesson_records, records, sign_offs
from training.services.confirming import Act, NotConfirmed
from training.web import lesson_shown, student_shown
from training.web.charts import LONG_WEEKS, SHORT_WEEKS
from training.web.instructor import signing
from training.web.shown import day
from training.web.student_shown import MOST_LAPSES, EndingShown, Names, NextShown

AT_ONCE = 20
TEST = progress.TOWARD[-1]


@dataclass(frozen=True, slots=True)
class Opened:
    """A student's record, opened by somebody who may read it, and noted."""

    student: Student
    at: dt.datetime
    user: User
    guardian: bool

    @property
    def own(self) -> bool:
        """Whether it is the student who looks."""
        return self.student.user_id == self.user.pk

    @property
    def on(self) -> dt.date:
        return self.student.school.day(self.at)

    def told(self, here: str, **more: Any) -> dict[str, Any]:
        """What every one of these pages says; ``here`` is the page's name."""
        return {
            "student": self.student,
            "own": self.own,
            "guardian": self.guardian,
            "on": day(self.on),
            "here": here,
            "caution": CAUTION,
            **more,
        }


def _open(request: HttpRequest, ref: uuid.UUID, what: str) -> Opened:
    at = timezone.now()
    try:
        student = access.open_record(request.user, ref, what=what, via="web", at=at)
    except Student.DoesNotExist:
        raise Http404("no student of that reference that you may see") from None
    assert isinstance(request.user, User)
    guardian = student.user_id != request.user.pk and access.guards(request.user, student, on=at.date())
    return Opened(student, at, request.user, guardian)


@require_safe
@never_cache
@login_required
def standing(request: HttpRequest, ref: uuid.UUID) -> HttpResponse:
    """Where the student stands: the way, the next lesson, what the next milestone lacks, what lapses."""
    opened = _open(request, ref, "standing")
    student, on = opened.student, opened.on
    stands, overview = progress.standing(student, on), reports.overview(student, on)
    names = Names(record_of(student))
    following = stands.next if stands else None
    told = opened.told(
        "standing",
        stands=stands,
        begun=sum(bool(each.grades) and not each.passed for each in stands.progress.items.values())
        if stands
        else 0,
        way=student_shown.way(stands, overview) if stands else None,
        milestones=[student_shown.MilestoneShown(each) for each in overview.milestones],
        next=NextShown(following.proposal) if following and following.proposal else None,
        others=[NextShown(each) for each in following.others] if following else [],
        blocked=student_shown.blocked(stands) if stands else [],
        says=following.says if following else "",
        toward=student_shown.toward(overview, names),
        carried=[student_shown.ItemOnWay(each) for each in stands.progress.carried_over] if stands else [],
        endings=[EndingShown(each, on) for each in reports.endings(student, on)][:MOST_LAPSES],
        waiting=_waiting(opened),
    )
    return render(request, "training/student/standing.html", told)


def _waiting(opened: Opened) -> dict[str, int]:
    """How many lessons wait for the student's signature, and for the instructor's. One query.

    Drafts are counted for who may see them.
    """
    drafts = Q(state=LessonRecord.State.DRAFT, off_at__isnull=False)
    unsigned = Q(sign_off__isnull=False, sign_off__acknowledgement__isnull=True, correction__isnull=True)
    return lesson_records.visible(opened.student, opened.user).aggregate(
        student=Count("pk", filter=unsigned), instructor=Count("pk", filter=drafts)
    )


@require_safe
@never_cache
@login_required
def hours(request: HttpRequest, ref: uuid.UUID) -> HttpResponse:
    """Hours over time by kind, each beside what the practical test asks for."""
    opened = _open(request, ref, "hours")
    report = reports.eligibility(opened.student, TEST, opened.on)
    told = opened.told(
        "hours",
        kinds=student_shown.hours(report, record_of(opened.student)),
        milestone=report.milestone,
        short_weeks=SHORT_WEEKS,
        long_weeks=LONG_WEEKS,
        rulebook=rulebook.current().id,
    )
    return render(request, "training/student/hours.html", told)


@require_safe
@never_cache
@login_required
def lessons(request: HttpRequest, ref: uuid.UUID) -> HttpResponse:
    """The lessons, the newest first."""
    opened = _open(request, ref, "lesson-records")
    seen = lesson_records.visible(opened.student, opened.user)
    page = Paginator(seen, AT_ONCE).get_page(request.GET.get("page"))
    told = opened.told(
        "lessons",
        page=page,
        lessons=[lesson_shown.LessonShown(each, opened.own) for each in page.object_list],
    )
    return render(request, "training/student/lessons.html", told)


@require_safe
@never_cache
@login_required
def lesson(request: HttpRequest, ref: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """One lesson: what was flown, how it was graded, what the instructor wrote, and what was put right."""
    opened = _open(request, ref, f"lesson-record {entry}")
    return _lesson(request, opened, _found(opened, entry))


def _found(opened: Opened, entry: uuid.UUID) -> LessonRecord:
    found = (
        lesson_records.visible(opened.student, opened.user)
        .select_related("corrects__sign_off", "corrects__course_version__course", "corrects__student__school")
        .filter(pk=entry)
        .first()
    )
    if found is None:
        raise Http404("no lesson of that id")
    return found


def _lesson(request: HttpRequest, opened: Opened, found: LessonRecord, refused: str = "") -> HttpResponse:
    shown = lesson_shown.LessonShown(found, opened.own)
    before = lesson_shown.LessonShown(found.corrects, opened.own) if found.corrects else None
    signs = opened.own and shown.signed and not shown.acknowledged and not shown.replaced_by
    told = opened.told(
        "lessons",
        lesson=shown,
        before=before,
        changes=lesson_shown.changes(before, shown) if before else [],
        refused=refused,
        statement=json.dumps(_act(opened, found).statement) if signs else "",
        passkeys=json.dumps(confirming.passkeys(opened.user)) if signs else "",
    )
    return render(request, "training/student/lesson.html", told, status=403 if refused else 200)


def _act(opened: Opened, found: LessonRecord) -> Act:
    return Act("lesson.acknowledged", str(opened.student.ref), str(found.pk), found.content_hash)


@sensitive_post_parameters("confirm_password", "passkey")
@require_POST
@never_cache
@login_required
def acknowledge(request: HttpRequest, ref: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """The student's own signature, confirmed by the password once more or by a passkey."""
    opened = _open(request, ref, f"lesson-record {entry}")
    found = _found(opened, entry)
    act = _act(opened, found)
    before = Acknowledgement.objects.filter(sign_off__lesson=found).values_list("confirmed", flat=True)
    try:
        confirmed = signing.confirm(request, opened.user, lambda by_passkey: act, before)
        sign_offs.acknowledge(found.pk, by=opened.user, at=opened.at, via="web", confirmed=confirmed)
    except (NotConfirmed, records.NotAllowed, lesson_records.Conflict) as refused:
        return _lesson(request, opened, found, str(refused))
    messages.success(request, _("You have signed that you know this lesson's record."))
    return redirect("lesson", ref=ref, entry=entry)


@require_safe
@never_cache
@login_required
def download(request: HttpRequest, ref: uuid.UUID) -> HttpResponse:
    """The whole record as one document."""
    at = timezone.now()
    found = (
        access.visible_students(request.user, on=at.date()).select_related("school").filter(ref=ref).first()
    )
    if found is None:
        raise Http404("no student of that reference that you may see")
    assert isinstance(request.user, User)
    document = records.export_document(found, by=request.user, at=at, via="web")
    text = json.dumps(document, ensure_ascii=False, indent=1)
    name = f"training-record-{found.school.day(at).isoformat()}.json"
    return HttpResponse(
        text,
        content_type="application/json; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
