"""How long a student's record must be retained, its holds, and its erasure."""

import uuid
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from training.models import RetentionHold, Student
from training.services import texts
from training.services.records import erasure
from training.web.shared.forms import Checkbox, Form, Reason, sent_or_new
from training.web.shared.opening import Opened, administered, asked_anew
from training.web.shared.report_presenter import day


class Hold(Form):
    reason = Reason(_("Reason for the hold"), most=texts.MOST)


class Release(Form):
    reason = Reason(_("Reason"), most=texts.MOST)

    def __init__(self, data: Any = None, *, hold: int) -> None:
        super().__init__(data, auto_id=f"why-{hold}")
        self.hold = hold


class Erase(Form):
    reason = Reason(_("Reason (kept permanently, so do not name anyone)"), most=texts.MOST, rows=3)
    sure = Checkbox(
        _("I understand that this cannot be undone"),
        unchecked=_("Not erased. Check the box to confirm. Erasing cannot be undone."),
    )


@administered("GET", "POST")
def retention(opened: Opened, ref: uuid.UUID) -> HttpResponse:
    """GET: the retention rules and holds. POST: add a hold."""
    student = opened.student(ref, "retention")
    form = Hold.bind(opened.request)
    if form.submit(lambda reason: erasure.hold(student, reason, **opened.acting)):
        said = gettext("Hold placed. Nothing in this record is erased while it is in force.")
        return opened.done(said, "school-retention", ref)
    return _page(opened, student, form)


@administered("POST")
def release(opened: Opened, ref: uuid.UUID, pk: int) -> HttpResponse:
    """Release a hold; it stays on file with both reasons."""
    student = opened.student(ref, "retention")
    held = get_object_or_404(RetentionHold, student=student, pk=pk)
    form = Release.bind(opened.request, hold=pk)
    if not form.submit(lambda reason: erasure.release(held, reason, **opened.acting)):
        return _page(opened, student, form)
    return opened.done(gettext("Hold ended. It stays on file with both reasons."), "school-retention", ref)


@administered("GET", "POST")
def erase(opened: Opened, ref: uuid.UUID) -> HttpResponse:
    """GET: what an erasure removes and retains. POST: erase after re-authentication."""
    student = opened.student(ref, "erasure")
    return asked_anew(opened, lambda: _erase(opened, student))


def _erase(opened: Opened, student: Student) -> HttpResponse:
    form = Erase.bind(opened.request)
    if not form.submit(lambda reason, sure: erasure.erase(student, reason, **opened.acting)):
        return opened.page(
            "erase",
            "students",
            status=409 if isinstance(form.refused, erasure.NotYet) else form.status,
            student=student,
            plan=erasure.plan(student, opened.today),
            stays=gettext(erasure.STAYS),
            form=form,
        )
    done = form.result
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
        said = gettext(
            "The same name still appears elsewhere: %(table)s, %(number)d. It may be another "
            "person's. Check there."
        )
        messages.warning(opened.request, said % {"table": table, "number": number})
    return redirect("school-students", opened.school.slug)


def _page(opened: Opened, student: Student, form: Hold | Release) -> HttpResponse:
    plan = erasure.plan(student, opened.today, counted=False)
    holds = RetentionHold.objects.filter(student=student).select_related("by", "released_by")
    return opened.page(
        "retention",
        "students",
        status=form.status,
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
                "form": form if isinstance(form, Release) and form.hold == each.pk else Release(hold=each.pk),
                "since": day(opened.school.day(each.at)),
                "released": each.released_at and day(opened.school.day(each.released_at)),
            }
            for each in holds
        ],
        form=sent_or_new(form, Hold),
    )
