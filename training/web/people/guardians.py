"""A student's guardians: their consent, and accounts that may read the record while it is in force."""

import uuid

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _

from training.models import Guardian, Invitation
from training.services import access
from training.services.errors import Conflict
from training.services.people import guardians, invitations
from training.web.people import students
from training.web.people.student_forms import Consent
from training.web.shared.opening import Opened, administered


@administered("POST")
def record(opened: Opened, ref: uuid.UUID) -> HttpResponse:
    """Add a consent, or update the one for the same e-mail address."""
    student = opened.student(ref, "guardians")
    form = Consent.bind(opened.request, today=opened.today)
    if not form.submit(
        lambda guardian_name, guardian_email, **days: guardians.record(
            student, name=guardian_name, email=guardian_email, **days, **opened.acting
        )
    ):
        return students.page(opened, student, form)
    return opened.done(_("Consent of %(name)s saved.") % {"name": form.result.name}, "school-student", ref)


@administered("POST")
def give(opened: Opened, ref: uuid.UUID, pk: int) -> HttpResponse:
    """Let a guardian of the school sign in, or invite the owner of the address."""
    found = _guardian(opened, ref, pk)
    try:
        given = guardians.give_account(found, by=opened.user, at=opened.at)
    except Conflict as refused:
        messages.error(opened.request, str(refused))
        return redirect("school-student", opened.school.slug, ref)
    if isinstance(given, Invitation):
        return opened.done(invitations.send(opened.request, given), "school-student", ref)
    said = _("%(name)s now has access to the record while the consent is valid, and signs in as %(email)s.")
    return opened.done(said % {"name": found.name, "email": given.email}, "school-student", ref)


@administered("POST")
def take(opened: Opened, ref: uuid.UUID, pk: int) -> HttpResponse:
    """Revoke the guardian's access; the consent to reminders stays."""
    found = _guardian(opened, ref, pk)
    guardians.take_account(found, by=opened.user, at=opened.at)
    return opened.done(
        _("%(name)s no longer has access to the record.") % {"name": found.name}, "school-student", ref
    )


def _guardian(opened: Opened, ref: uuid.UUID, pk: int) -> Guardian:
    student = opened.student(ref, "guardian's account", access.WRITE)
    return get_object_or_404(Guardian.objects.select_related("school"), pk=pk, student=student)
