"""Invitations that wait: the school sends again and withdraws, and who is invited accepts or declines.

Only the owner of the address learns whether it has an account: the school gets the same answer, after the
same statements and the same e-mail, either way.
"""

import datetime as dt
from typing import Any

from allauth.core import ratelimit
from django.conf import settings
from django.core import signing
from django.db import transaction
from django.db.models import QuerySet
from django.http import HttpRequest
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from training.models import Invitation, Role, School, Student, User
from training.models.school.invitations import GUARDIAN
from training.services import access, row_scope
from training.services.errors import Conflict, NotFound
from training.services.people import guardians, people
from training.services.reminders import outgoing

_SIGNER = signing.Signer(salt="invitation")
WHAT = "invitation of that id"
ROLES = {
    Role.Kind.STUDENT: gettext_lazy("student"),
    Role.Kind.INSTRUCTOR: gettext_lazy("instructor"),
    Role.Kind.ADMINISTRATOR: gettext_lazy("administrator"),
    GUARDIAN: gettext_lazy("guardian"),
}


def of(school: School) -> QuerySet[Invitation]:
    """Those of a school that wait for an answer, the newest first."""
    return Invitation.objects.filter(school=school).select_related("by", "school", "student")


@row_scope.every_school()
def own(user: User, at: dt.datetime) -> list[Invitation]:
    """Those that a user can accept or decline, of schools that are not yet the user's."""
    return list(_own(user, at).select_related("school", "by"))


def _own(user: User, at: dt.datetime) -> QuerySet[Invitation]:
    return Invitation.objects.filter(email=user.email, expires__gt=at)


def role_name(invitation: Invitation) -> str:
    """What somebody is invited as, in the language of the page."""
    return str(ROLES[invitation.role])


def link(invitation: Invitation) -> str:
    """The address that opens an invitation until it is sent again; nobody can make it up."""
    key = _SIGNER.sign_object([invitation.pk, invitation.at.isoformat()])
    return f"{settings.PUBLIC_ADDRESS}{reverse('invitation', args=[key])}"


@row_scope.every_school()
def by_link(key: str, at: dt.datetime) -> Invitation | None:
    """The invitation that a link opens; None where it was answered, withdrawn, sent again, or has expired."""
    try:
        pk, sent = _SIGNER.unsign_object(key)
    except signing.BadSignature:
        return None
    found = Invitation.objects.filter(pk=pk, at=sent, expires__gt=at)
    return found.select_related("school", "by").first()


def send(request: HttpRequest, invitation: Invitation) -> str:
    """Send the link; returns what to say of it, which depends on the address alone."""
    told = {"email": invitation.email}
    if not ratelimit.consume(request, action="reset_password", key=invitation.email):
        said = _(
            "No e-mail sent to %(email)s: too many were sent already. Wait, then send the invitation again."
        )
        return said % told
    asked = {"school": invitation.school.name, "role": role_name(invitation), "who": invitation.by}
    lines = [
        _("%(who)s invites you to %(school)s as %(role)s, in the student pilot training record.") % asked,
        _("Open this link by %(day)s to accept or decline:")
        % {"day": f"{invitation.school.day(invitation.expires):%Y-%m-%d}"},
        link(invitation),
        _("If you do not know the school, decline or do nothing: it learns nothing about you."),
    ]
    subject = _("Invitation to %(school)s") % asked
    outgoing.invitation(invitation.email, subject, "\n\n".join(lines) + "\n", at=invitation.at)
    return _("Invitation sent to %(email)s.") % told


@transaction.atomic
def to_record(student: Student, email: str, *, by: User, at: dt.datetime) -> User | Invitation:
    """Let a student whose record has no account sign in. Returns the account, or the invitation to have one.

    Raises: NotAllowed; PeopleError; Conflict if the record has an account, or was offered to an address.
    """
    school = access.locked_school(by, "change people", student.school.slug)
    email = people.address(email)
    locked = Student.objects.select_for_update(of=("self",), no_key=True).get(pk=student.pk)
    if locked.user is not None:
        raise Conflict(_("This record has an account already."))
    waits = Invitation.objects.filter(student=locked, role=Role.Kind.STUDENT).first()
    if waits is not None:
        said = _("%(email)s is already invited to this record. Withdraw that invitation first.")
        raise Conflict(said % {"email": waits.email})
    user = people.known(school, email)
    if user is None:
        people.check_not_invited(school, email, Role.Kind.STUDENT)
        return people.invite(school, Role.Kind.STUDENT, locked.name, email, by=by, at=at, student=locked)
    _tie(locked, user)
    Role.objects.get_or_create(school=school, user=user, role=Role.Kind.STUDENT)
    people.note(school, by, "student added", at, user=user, student=locked, after={"name": locked.name})
    return user


@transaction.atomic
def renew(school: School, pk: int, *, by: User, at: dt.datetime) -> Invitation:
    """Let an invitation begin anew; the link sent before no longer works. Raises: NotAllowed; NotFound."""
    found = _locked(by, school, pk)
    found.at, found.expires = at, at + people.INVITED_FOR
    found.save(update_fields=["at", "expires"])
    return found


@transaction.atomic
def withdraw(school: School, pk: int, *, by: User, at: dt.datetime) -> Invitation:
    """Take an invitation back. A student's record stays, without an account. Raises: NotAllowed; NotFound."""
    found = _locked(by, school, pk)
    _answered(found, "withdrawn", by, at)
    return found


def _locked(by: User, school: School, pk: int) -> Invitation:
    access.locked_school(by, "change people", school.slug)
    found = of(school).filter(pk=pk).first()
    if found is None:
        raise NotFound(WHAT)
    return found


@row_scope.every_school()
@transaction.atomic
def accept(pk: int, *, by: User, at: dt.datetime) -> Invitation:
    """Take up what is offered to the address of an account.

    Raises: NotFound where nothing is offered to it under that key; Conflict where it cannot be taken up.
    """
    found = _mine(pk, by, at)
    if found.guardian is not None:
        guardians.tie(found.guardian, by)
    else:
        if found.student is not None:
            _tie(found.student, by)
        given: dict[str, Any] = {"school": found.school, "user": by, "role": found.role}
        Role.objects.get_or_create(**given, defaults=found.held)
    _answered(found, "accepted", by, at, user=by)
    return found


def _tie(student: Student, user: User) -> None:
    """Raises: Conflict where the account cannot be this student's."""
    if not user.is_active:
        said = _("The account of %(email)s is closed. Ask the server's operator to open it again.")
        raise Conflict(said % {"email": user.email})
    if Student.objects.filter(school=student.school_id, user=user).exists():
        said = _("%(email)s has a record at this school already.")
        raise Conflict(said % {"email": user.email})
    student.user = user
    student.save(update_fields=["user"])


@row_scope.every_school()
@transaction.atomic
def decline(pk: int, *, by: User, at: dt.datetime) -> Invitation:
    """Turn down what is offered to the address of an account. Raises: NotFound."""
    found = _mine(pk, by, at)
    _answered(found, "declined", None, at)
    return found


def _mine(pk: int, by: User, at: dt.datetime) -> Invitation:
    named = _own(by, at).filter(pk=pk).first()
    if named is None:
        raise NotFound(WHAT)
    # The school's row first, as all who change its people do.
    School.objects.select_for_update(no_key=True).get(pk=named.school_id)
    found = _own(by, at).filter(pk=pk).select_related("school", "student", "guardian__student").first()
    if found is None:
        raise NotFound(WHAT)
    return found


@row_scope.every_school()
@transaction.atomic
def join(invitation: Invitation, password: str, *, at: dt.datetime) -> User:
    """Make the account of an address that has none, by the link that its owner got, and accept.

    Raises: NotFound; Conflict where the address has an account by now.
    """
    if User.objects.filter(email=invitation.email).exists():
        raise Conflict(_("An account has this e-mail address. Sign in with it, then open the link again."))
    made = User.objects.create_user(invitation.email, password, name=invitation.name)
    accept(invitation.pk, by=made, at=at)
    return made


@row_scope.every_school()
@transaction.atomic
def turn_down(invitation: Invitation, *, at: dt.datetime) -> None:
    """Decline by the link alone, as whoever has no account does."""
    _answered(invitation, "declined", None, at)


def _answered(found: Invitation, how: str, by: User | None, at: dt.datetime, **more: Any) -> None:
    """Keep how it ended; ``by`` is None for who declined, whose account is not the school's to know."""
    said = {"name": found.name, "email": found.email}
    people.note(found.school, by, f"{found.role} {how}", at, student=found.student, after=said, **more)
    found.delete()
