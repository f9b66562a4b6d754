"""A minor's guardians with consent: recorded and withdrawn, never erased.

An administrator can give a guardian an account, which reads the student's record while the consent is in
force.
"""

import datetime as dt

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction

from syllabus.engine.errors import InputError
from syllabus.engine.record.reading import Errors
from syllabus.engine.time import calendar
from training.models import Guardian, Invitation, Student, User
from training.models.school.invitations import GUARDIAN
from training.services import access
from training.services.errors import Conflict
from training.services.people import people


class GuardianError(InputError):
    """The guardian's details are not valid."""

    what = "the guardian's details"


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
    """Record a guardian's consent, or update the one of that e-mail address; a last day withdraws it.

    Raises: GuardianError; NotAllowed.
    """
    access.require(by, "write a record", student, on=at.date())
    errors, today, email = Errors(), student.school.day(at), email.strip().lower()
    try:
        validate_email(email)
    except ValidationError:
        errors.add("email", f"{email!r} is not an e-mail address")
    if consent_on > today:
        errors.add("consent_on", f"{consent_on} is in the future; today is {today}")
    if consent_until is not None and consent_until < consent_on:
        errors.add("consent_until", f"{consent_until} is before the consent of {consent_on}")
    errors.stop(GuardianError)
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


@transaction.atomic
def give_account(guardian: Guardian, *, by: User, at: dt.datetime) -> User | Invitation:
    """Let a guardian sign in with the address on record. Returns the account, or the invitation to have one.

    It can only read the student's record, while the consent is valid and the student is a minor. An address
    that nobody of the school has is invited, whether or not it has an account elsewhere.
    Raises: NotAllowed; Conflict if the address is invited, the student's own, or its account is closed.
    """
    school = access.locked_school(by, "change people", guardian.school.slug)
    found = Guardian.objects.select_for_update(of=("self",), no_key=True).select_related("student", "user")
    locked = found.get(pk=guardian.pk)
    if locked.user is not None:
        return locked.user
    user = people.known(school, locked.email)
    if user is None:
        people.check_not_invited(school, locked.email, GUARDIAN, guardian=locked)
        about = {"student": locked.student, "guardian": locked}
        return people.invite(school, GUARDIAN, locked.name, locked.email, by=by, at=at, **about)
    tie(locked, user)
    people.note(school, by, "guardian's account given", at, user=user, student=locked.student)
    return user


def tie(guardian: Guardian, user: User) -> None:
    """Open the record to a guardian's account. Raises: Conflict where it cannot be the guardian's."""
    if user.pk == guardian.student.user_id:
        raise Conflict(f"{user.email} is the student's own account; enter the guardian's own address.")
    if not user.is_active:
        raise Conflict(f"The account of {user.email} is closed. Ask the server's operator to open it again.")
    guardian.user = user
    guardian.save(update_fields=["user"])


@transaction.atomic
def take_account(guardian: Guardian, *, by: User, at: dt.datetime) -> None:
    """End the access of a guardian's account, whatever the consent says. Raises: NotAllowed."""
    access.locked_school(by, "change people", guardian.school.slug)
    locked = (
        Guardian.objects.select_for_update(of=("self",), no_key=True)
        .select_related("student", "user")
        .get(pk=guardian.pk)
    )
    if locked.user is not None:
        people.note(
            locked.school, by, "guardian's account taken", at, user=locked.user, student=locked.student
        )
        locked.user = None
        locked.save(update_fields=["user"])


def listed(student: Student) -> list[Guardian]:
    """A student's guardians, ended consents included."""
    return list(Guardian.objects.filter(student=student).select_related("user").order_by("pk"))


def caution(student: Student, on: dt.date) -> str:
    """Why no guardian of the student gets e-mail on a day; empty if they do."""
    if student.birth_date is None:
        return "The birth date is not on record, so nothing is sent to a guardian."
    if calendar.age(student.birth_date, on) >= student.school.of_age_at:
        return f"The student is of age ({student.school.of_age_at}), so nothing is sent to a guardian."
    return ""
