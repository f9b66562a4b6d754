"""How long a student's record is kept: what the law asks, what holds it, and its erasure."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST

from training.models import RetentionHold, Student
from training.services import erasure
from training.web.school.opening import Opened, administered, asked_anew, in_words
from training.web.shown import day


@require_http_methods(["GET", "HEAD", "POST"])
@administered
def retention(opened: Opened, ref: uuid.UUID) -> HttpResponse:
    """GET: what is kept until when, and why. POST: a hold."""
    student = opened.student(ref, "retention")
    if opened.request.method != "POST":
        return _page(opened, student)
    reason = _reason(opened)
    try:
        erasure.hold(student, reason, by=opened.user, at=opened.at, via="web")
    except erasure.ErasureError as problem:
        return _page(opened, student, in_words(problem), reason, 422)
    messages.success(opened.request, _("Hold placed. Nothing in this record is erased while it is in force."))
    return redirect("school-retention", opened.school.slug, ref)


@require_POST
@administered
def release(opened: Opened, ref: uuid.UUID, pk: int) -> HttpResponse:
    """End a hold; it stays on file with both reasons."""
    student = opened.student(ref, "retention")
    held = RetentionHold.objects.filter(student=student, pk=pk).first()
    if held is None:
        raise Http404("no hold of that number on this record")
    try:
        erasure.release(held, _reason(opened), by=opened.user, at=opened.at, via="web")
    except erasure.ErasureError as problem:
        return _page(opened, student, in_words(problem), status=422)
    messages.success(opened.request, _("Hold ended. It stays on file with both reasons."))
    return redirect("school-retention", opened.school.slug, ref)


@require_http_methods(["GET", "HEAD", "POST"])
@administered
def erase(opened: Opened, ref: uuid.UUID) -> HttpResponse:
    """What an erasure takes and what stays; done once the administrator has shown again who is asking."""
    student = opened.student(ref, "erasure")
    return asked_anew(opened, lambda: _erase(opened, student))


def _erase(opened: Opened, student: Student) -> HttpResponse:
    if opened.request.method != "POST":
        return _shown(opened, student)
    reason = _reason(opened)
    if opened.request.POST.get("sure") != "on":
        return _shown(
            opened, student, _("Not erased. Check the box to confirm. Erasing cannot be undone."), reason, 422
        )
    try:
        done = erasure.erase(student, reason, by=opened.user, at=opened.at, via="web")
    except erasure.NotYet as kept:
        return _shown(opened, student, str(kept), reason, 409)
    except erasure.ErasureError as problem:
        return _shown(opened, student, in_words(problem), reason, 422)
    messages.success(
        opened.request,
        ngettext(
            "Record erased, with the contents of %(number)d ledger entry. The proof stays.",
            "Record erased, with the contents of %(number)d ledger entries. The proofs stay.",
            done.bodies,
        )
        % {"number": done.bodies},
    )
    for table, number in done.named.items():
        said = _(
            "The same name still appears elsewhere: %(table)s, %(number)d. It may be another "
            "person's. Check there."
        )
        messages.warning(opened.request, said % {"table": table, "number": number})
    return redirect("school-students", opened.school.slug)


def _reason(opened: Opened) -> str:
    return str(opened.request.POST.get("reason", "")).replace("\x00", "")


def _page(
    opened: Opened, student: Student, fault: str = "", reason: str = "", status: int = 200
) -> HttpResponse:
    plan = erasure.plan(student, opened.today, counted=False)
    holds = RetentionHold.objects.filter(student=student).select_related("by", "released_by")
    return opened.page(
        "retention",
        "students",
        status=status,
        student=student,
        plan=plan,
        kept=[
            {"rule": each.rule, "from": day(each.day), "until": day(each.until), "over": each.until < plan.on}
            for each in plan.kept
        ],
        may_from=day(plan.may_from),
        holds=[
            {
                "row": each,
                "since": day(opened.school.day(each.at)),
                "released": each.released_at and day(opened.school.day(each.released_at)),
            }
            for each in holds
        ],
        fault=fault,
        reason=reason,
        most=erasure.MOST_TEXT,
    )


def _shown(
    opened: Opened, student: Student, fault: str = "", reason: str = "", status: int = 200
) -> HttpResponse:
    return opened.page(
        "erase",
        "students",
        status=status,
        student=student,
        plan=erasure.plan(student, opened.today),
        stays=_(erasure.STAYS),
        fault=fault,
        reason=reason,
        most=erasure.MOST_TEXT,
    )
