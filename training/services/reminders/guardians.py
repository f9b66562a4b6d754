"""A minor's guardians whom the school may write to: consent put on record and taken back, never erased."""

from __future__ import annotations

import datetime as dt

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction

from syllabus.engine import calendar
from syllabus.engine.errors import Fault, FaultsFound
from training.models import Guardian, Student, User
from training.services import access
from training.services.records import NotAllowed


class GuardianError(FaultsFound):
    """What was sent about a guardian cannot be."""

    what = "what was sent about a guardian"


@transaction.atomic
def record(
    student: Student,
    *,
    name: str,
    email: str,
    consent_on: dt.date,
    consent_until: dt.date | None,
    by: User,
    at: dt.datetime,
    via: str,
) -> Guardian:
    """Put a guardian's consent on record, or change what stands for that e-mail address.

    Consent is taken back by its last day. Raises: GuardianError; NotAllowed.
    """
    if not access.may(by, access.WRITE, student, on=at.date()):
        raise NotAllowed(f"{by.email} may not write this student's record.")
    faults, today, email = [], student.school.day(at), email.strip().lower()
    try:
        validate_email(email)
    except ValidationError:
        faults.append(Fault("email", f"{email!r} is no e-mail address"))
    if consent_on > today:
        faults.append(Fault("consent_on", f"{consent_on} is still to come; today is {today}"))
    if consent_until is not None and consent_until < consent_on:
        faults.append(Fault("consent_until", f"{consent_until} is before the consent of {consent_on}"))
    if faults:
        raise GuardianError(faults)
    access.log(by, student, access.WRITE, "guardian's consent", via=via, at=at)
    guardian, _ = Guardian.objects.update_or_create(
        student=student,
        email=email,
        defaults={
            "school_id": student.school_id,
            "name": name,
            "consent_on": consent_on,
            "consent_until": consent_until,
            "recorded_by": by,
            "recorded_at": at,
        },
    )
    return guardian


def listed(student: Student) -> list[Guardian]:
    """A student's guardians, ended consents included."""
    return list(Guardian.objects.filter(student=student).order_by("pk"))


def caution(student: Student, on: dt.date) -> str:
    """Why nothing goes to any guardian of the student on a day; empty where it does."""
    if student.birth_date is None:
        return "The birth date is not on record, so nothing is sent to a guardian."
    if calendar.age(student.birth_date, on) >= student.school.of_age_at:
        return f"The student is of age ({student.school.of_age_at}), so nothing is sent to a guardian."
    return ""
