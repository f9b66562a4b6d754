"""Events of people's sign-in: recorded as they happen, in the log too, read by whom they are about.

Django's, allauth's and knox's signals say what happened. A log line names an account by its number alone.
"""

import contextlib
import datetime as dt
import ipaddress
import logging
from typing import Any

from allauth.account.adapter import get_adapter
from allauth.core import context
from allauth.mfa import signals as factors
from django.contrib.auth.signals import user_logged_in, user_logged_out, user_login_failed
from django.contrib.sessions.models import Session
from django.core.exceptions import PermissionDenied
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.db.models.signals import post_delete, post_save
from django.dispatch import receiver
from django.http import HttpRequest
from django.utils import timezone
from knox.models import AuthToken

from training.models import Delivery, Guardian, Invitation, Role, School, SignInEvent, Student, User
from training.models.school.people import password_replaced
from training.services import access, row_scope
from training.services.signing import wrong_passwords

log = logging.getLogger("training.sign_ins")
What = SignInEvent.What
#: How long events are stored.
KEPT = dt.timedelta(days=180)
_PROGRAM = 120


def record(what: str, user: User | None, *, about: str = "", school: School | None = None) -> None:
    """Keep an event of an account, and write its line. By whom and from where follow from the request."""
    request: HttpRequest | None = context.request
    by = getattr(request, "user", None)
    ip, program, via = None, "", "command"
    if request is not None:
        via = "api" if request.path.startswith("/api/") else "web"
        program = request.headers.get("User-Agent", "")[:_PROGRAM].replace("\x00", "")
        # No address where a proxy's socket is connected and names none.
        with contextlib.suppress(PermissionDenied, ValueError):
            ip = str(ipaddress.ip_address(get_adapter().get_client_ip(request)))
    other = by if isinstance(by, User) and by.pk and by != user else None
    SignInEvent.objects.create(
        user=user, by=other, school=school, what=what, about=about, at=timezone.now(), via=via, ip=ip,
        program=program,
    )  # fmt: skip
    whose, whence = f"user {user.pk}" if user else "no account", f"{via} {ip or ''}".strip()
    log.info("%s%s: %s, from %s", what, f" ({about})" if about else "", whose, whence)


def of(user: User) -> QuerySet[SignInEvent]:
    """A person's own events, the newest first."""
    return SignInEvent.objects.filter(user=user).select_related("user", "by", "school")


def at_school(school: School) -> QuerySet[SignInEvent]:
    """Those of everybody who has to do with a school, without what is another school's."""
    mine = {"school": school, "user": OuterRef("user")}
    here = Q(Exists(Role.objects.filter(**mine))) | Q(Exists(Student.objects.filter(**mine)))
    here |= Q(Exists(Guardian.objects.filter(**mine)))
    found = SignInEvent.objects.filter(here, Q(school__isnull=True) | Q(school=school), user__isnull=False)
    return found.select_related("user", "by", "school")


def seen(user: User, slug: str | None) -> QuerySet[SignInEvent] | None:
    """Those that a user may read: own ones, or everybody's of a school; None where they may not."""
    if slug is None:
        row_scope.everything()  # one's own at a school that one has left are among them
        return of(user)
    school = access.schools(user).filter(slug=slug).first()
    return at_school(school) if school else None


def sweep(at: dt.datetime) -> None:
    """Delete what is over: old events and e-mails of accounts, ended sessions and tokens, old invitations."""
    SignInEvent.objects.filter(at__lt=at - KEPT).delete()
    Session.objects.filter(expire_date__lt=at).delete()
    AuthToken.objects.filter(expiry__lt=at).delete()
    Invitation.objects.filter(expires__lt=at - KEPT).delete()
    of_accounts = Delivery.objects.exclude(to="").exclude(state=Delivery.State.PENDING)
    unsent = Q(sent_at__isnull=True, created_at__lt=at - KEPT)
    of_accounts.filter(unsent | Q(sent_at__lt=at - KEPT)).delete()


@receiver(user_logged_in)
def _signed_in(user: User, **_: Any) -> None:
    record(What.SIGNED_IN, user)


@receiver(user_logged_out)
def _signed_out(user: User | None, **_: Any) -> None:
    if user is not None:
        record(What.SIGNED_OUT, user)


@receiver(user_login_failed)
def _failed(credentials: dict[str, Any], **_: Any) -> None:
    """The same two statements whether or not an account has the address."""
    email = str(credentials.get("email") or credentials.get("username") or "").strip().lower()
    record(What.FAILED, _whose(email))


@receiver(wrong_passwords.locking)
def _locked(email: str, **_: Any) -> None:
    record(What.LOCKED, _whose(email.strip().lower()))


def _whose(email: str) -> User | None:
    return User.objects.filter(email=email.replace("\x00", "")).first()


@receiver(password_replaced)
def _password(user: User, **_: Any) -> None:
    record(What.PASSWORD, user)


@receiver(factors.authenticator_added)
@receiver(factors.authenticator_reset)
def _added(user: User, authenticator: Any, **_: Any) -> None:
    record(What.FACTOR_ADDED, user, about=authenticator.type)


@receiver(factors.authenticator_removed)
def _removed(user: User, authenticator: Any, **_: Any) -> None:
    record(What.FACTOR_REMOVED, user, about=authenticator.type)


@receiver(factors.authenticator_used)
def _used(user: User, authenticator: Any, **_: Any) -> None:
    record(What.FACTOR_USED, user, about=authenticator.type)


@receiver(factors.authentication_failed)
def _not_accepted(user: User, **_: Any) -> None:
    record(What.FACTOR_FAILED, user)


@receiver(post_save, sender=AuthToken)
def _token_made(instance: Any, created: bool, **_: Any) -> None:
    if created:
        record(What.TOKEN_MADE, instance.user)


@receiver(post_delete, sender=AuthToken)
def _token_ended(instance: Any, **_: Any) -> None:
    record(What.TOKEN_ENDED, instance.user)
