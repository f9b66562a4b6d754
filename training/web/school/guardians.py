"""A student's guardians: whose consent is on record, and whose account may read the record while it holds."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from syllabus.engine.reading import Faults
from training.models import Guardian
from training.services import access, people
from training.services.errors import Conflict
from training.services.reminders import guardians
from training.web.accounts import links
from training.web.school import opening, students
from training.web.school.opening import Opened, administered

#: The form's fields, apart from those of the other forms of the page.
FIELDS = ("guardian_name", "guardian_email", "consent_on", "consent_until")


@require_POST
@administered
def record(opened: Opened, ref: uuid.UUID) -> HttpResponse:
    """Put a consent on record, or change what stands for that address."""
    student = opened.student(ref, "guardians")
    sent = {key: str(opened.request.POST.get(key, "")).replace("\x00", "").strip() for key in FIELDS}
    faults = Faults()
    for key in FIELDS[:2]:
        if not sent[key]:
            faults.add(key, _("is blank"))
    if len(sent["guardian_name"]) > people.MOST_NAME:
        faults.add("guardian_name", _("is longer than %(most)d characters") % {"most": people.MOST_NAME})
    starts = opening.day(faults, "consent_on", sent["consent_on"], needed=True)
    until = opening.day(faults, "consent_until", sent["consent_until"])
    if not faults and starts:
        try:
            made = guardians.record(
                student,
                name=sent["guardian_name"],
                email=sent["guardian_email"],
                consent_on=starts,
                consent_until=until,
                by=opened.user,
                at=opened.at,
                via="web",
            )
        except guardians.GuardianError as problem:
            for fault in problem.faults:
                faults.add("guardian_email" if fault.place == "email" else fault.place, fault.message)
        else:
            messages.success(opened.request, _("Consent of %(name)s saved.") % {"name": made.name})
            return redirect("school-student", opened.school.slug, ref)
    return students.page(opened, student, opening.by_field(faults), sent, 422)


@require_POST
@administered
def give(opened: Opened, ref: uuid.UUID, pk: int) -> HttpResponse:
    """Let a guardian sign in; a new account sets its own password."""
    found = _guardian(opened, ref, pk)
    try:
        user, new = guardians.give_account(found, by=opened.user, at=opened.at)
    except Conflict as refused:
        messages.error(opened.request, str(refused))
    else:
        said = _(
            "%(name)s now has access to the record while the consent is valid, and signs in as %(email)s."
        )
        told = [said % {"name": found.name, "email": user.email}]
        if new:
            told.append(links.send(opened.request, user.email).words)
        messages.success(opened.request, " ".join(told))
    return redirect("school-student", opened.school.slug, ref)


@require_POST
@administered
def take(opened: Opened, ref: uuid.UUID, pk: int) -> HttpResponse:
    """Close the record to a guardian's account; the consent to be written to stands."""
    found = _guardian(opened, ref, pk)
    guardians.take_account(found, by=opened.user, at=opened.at)
    messages.success(opened.request, _("%(name)s no longer has access to the record.") % {"name": found.name})
    return redirect("school-student", opened.school.slug, ref)


def _guardian(opened: Opened, ref: uuid.UUID, pk: int) -> Guardian:
    student = opened.student(ref, "guardian's account", access.WRITE)
    found = Guardian.objects.select_related("school").filter(pk=pk, student=student).first()
    if found is None:
        raise Http404("no guardian of that number of this student")
    return found
