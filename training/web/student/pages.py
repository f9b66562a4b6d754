"""The student's pages: my progress, hours, lessons, rules. Everybody who may read the record sees them."""

import datetime as dt
import json
import uuid
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters

from syllabus.engine.rules.report import CAUTION
from training.models import LessonRecord, Student, User
from training.presenters import lesson as lesson_words
from training.services import access, signatures
from training.services.errors import Refused
from training.services.lessons import lesson_records
from training.services.records import page_cache, records
from training.services.signing import reauthentication
from training.web.shared import lesson_presenter, signing
from training.web.shared.opening import SignedIn, signed_in
from training.web.shared.report_presenter import day
from training.web.student import page_cache as parts


@dataclass(frozen=True, slots=True)
class Opened:
    """A student's record, opened by someone who may read it, with the access logged."""

    found: access.Opened
    at: dt.datetime
    user: User

    @property
    def student(self) -> Student:
        return self.found.student

    @property
    def own(self) -> bool:
        """Whether the reader is the student."""
        return self.student.user_id == self.user.pk

    @property
    def drafts(self) -> bool:
        """Whether drafts are listed: instructors see them, students do not."""
        return not self.own and self.found.may(access.WRITE)

    @property
    def on(self) -> dt.date:
        return self.student.school.day(self.at)

    def part(self, page: str, variant: str = "") -> str:
        """The main part of the page, which is the same for every reader."""
        return page_cache.part(self.student, page, self.on, variant)

    def told(self, here: str, **more: Any) -> dict[str, Any]:
        """The context of each of these pages; ``here`` is the page's name."""
        return {
            "student": self.student,
            "own": self.own,
            "guardian": self.found.as_guardian,
            "on": day(self.on),
            "here": here,
            "caution": CAUTION,
            **more,
        }


def open_record(request: SignedIn, ref: uuid.UUID, what: str) -> Opened:
    at = timezone.now()
    found = access.opened(request.user, ref, what=what, via="web", at=at)
    return Opened(found, at, request.user)


@signed_in("GET")
def standing(request: SignedIn, ref: uuid.UUID) -> HttpResponse:
    """The student's progress: the course, the next lesson, the next milestone's gaps, expirations."""
    opened = open_record(request, ref, "standing")
    told = opened.told("standing", cached=opened.part("standing"), waiting=_waiting(opened))
    return render(request, "training/student/standing.html", told)


def _waiting(opened: Opened) -> dict[str, int]:
    """How many lessons wait for the student's signature and, for those who see drafts, the instructor's."""
    unsigned, drafts = lesson_records.waiting(opened.student)
    return {"student": unsigned, "instructor": drafts if opened.drafts else 0}


@signed_in("GET")
def hours(request: SignedIn, ref: uuid.UUID) -> HttpResponse:
    """Hours over time by kind, each beside the requirement of the practical test."""
    opened = open_record(request, ref, "hours")
    told = opened.told("hours", cached=opened.part("hours"))
    return render(request, "training/student/hours.html", told)


@signed_in("GET")
def lessons(request: SignedIn, ref: uuid.UUID) -> HttpResponse:
    """The lessons, newest first."""
    opened = open_record(request, ref, "lesson-records")
    number, listed = request.GET.get("page", "1"), parts.ALL if opened.drafts else parts.SIGNED
    if number == "1":
        shown = opened.part("lessons", listed)
    else:
        shown = parts.lessons(opened.student, opened.on, listed, number)
    return render(request, "training/student/lessons.html", opened.told("lessons", cached=shown))


@signed_in("GET")
def lesson(request: SignedIn, ref: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """One lesson: what was flown, the grades, the instructor's remarks, and corrections."""
    opened = open_record(request, ref, f"lesson-record {entry}")
    return _lesson(request, opened, _found(opened, entry))


def _found(opened: Opened, entry: uuid.UUID) -> LessonRecord:
    return get_object_or_404(
        lesson_records.listed(opened.student, drafts=opened.drafts).select_related(
            "corrects__sign_off", "corrects__course_version__course", "corrects__student__school"
        ),
        pk=entry,
    )


def _lesson(request: SignedIn, opened: Opened, found: LessonRecord, refused: str = "") -> HttpResponse:
    shown = lesson_presenter.LessonShown(found)
    before = lesson_presenter.LessonShown(found.corrects) if found.corrects else None
    signs = opened.own and shown.signed and not shown.acknowledged and not shown.replaced_by
    act = signatures.act_of_lesson(signatures.ACKNOWLEDGED, found, found.content_hash)
    told = opened.told(
        "lessons",
        lesson=shown,
        before=before,
        changes=lesson_words.changes(before.told, shown.told) if before else [],
        refused=refused,
        statement=json.dumps(act.statement()) if signs else "",
        passkeys=json.dumps(reauthentication.passkeys(opened.user)) if signs else "",
    )
    return render(request, "training/student/lesson.html", told, status=403 if refused else 200)


@sensitive_post_parameters("confirm_password", "passkey")
@signed_in("POST")
def acknowledge(request: SignedIn, ref: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """The student's own signature, with the password or a passkey."""
    opened = open_record(request, ref, f"lesson-record {entry}")
    found = _found(opened, entry)
    try:
        signatures.acknowledge_lesson(found, signing.signer(request, opened.user, opened.at))
    except Refused as refused:
        return _lesson(request, opened, found, str(refused))
    messages.success(request, _("You acknowledged this lesson."))
    return redirect("lesson", ref=ref, entry=entry)


@signed_in("GET")
def download(request: SignedIn, ref: uuid.UUID) -> HttpResponse:
    """The whole record as one document."""
    at = timezone.now()
    found = access.student(request.user, ref, on=at.date())
    document = records.export_document(found, by=request.user, at=at, via="web")
    text = json.dumps(document, ensure_ascii=False, indent=1)
    name = f"training-record-{found.school.day(at).isoformat()}.json"
    return HttpResponse(
        text,
        content_type="application/json; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
