"""Second factors: checked for programs, and removed after all of them were lost."""

import datetime as dt
import logging
from collections import Counter
from dataclasses import dataclass

from allauth.core import ratelimit
from allauth.mfa.models import Authenticator
from django.conf import settings
from django.core.cache import caches
from django.db import transaction
from django.http import HttpRequest
from django.utils.translation import gettext as _

from syllabus.engine.errors import InputError
from syllabus.engine.record.reading import Errors
from training.models import Guardian, Role, School, Student, User
from training.services import access, row_scope
from training.services.errors import Conflict, NotAllowed
from training.services.people import account_mails, people, sign_ins

MOST_REASON = 300
_CACHED = 60  # seconds
_KINDS = {"webauthn": "passkeys", "totp": "authenticator apps", "recovery_codes": "recovery codes"}
log = logging.getLogger(__name__)


class NotGiven(Exception):
    """Only the password was sent, or a wrong code; the message says what to send."""


class TooMany(Exception):
    """Too many attempts at a code for this account."""


def missing(user: User) -> bool:
    """Whether a user has a role that needs a second factor, or may use the admin site, and has none.

    That somebody is not in want of one holds for a minute: then a setting that was changed is seen.
    """
    key = f"second-factor-{user.pk}"
    if caches["process"].get(key):
        return False
    found = _required(user) and not _has_one(user)
    if not found:
        caches["process"].set(key, True, _CACHED)
    return found


def _required(user: User) -> bool:
    if settings.OPERATOR_SECOND_FACTOR and (user.is_staff or user.is_superuser):
        return True
    with row_scope.every_school():  # at a sign-in, nobody's schools are shown yet
        held = list(Role.objects.filter(user=user).values_list("role", "school__second_factor_for"))
    return any(role in asked for role, asked in held)


def _has_one(user: User) -> bool:
    own = Authenticator.objects.filter(user=user)
    return own.exclude(type=Authenticator.Type.RECOVERY_CODES).exists()


def check(request: HttpRequest, user: User, code: str | None) -> None:
    """Check the second factor of a user whose password was right; nothing if none is set up.

    Passkeys work on pages only; here their owner sends a recovery code. Each code works once. Attempts are
    counted for the account, together with those on the pages.

    Raises: NotGiven; TooMany.
    """
    if not _has_one(user):
        return
    known = Authenticator.objects.filter(user=user)
    if code is None:
        raise NotGiven(
            "This account asks for more than the password. Send code as well: one of its authenticator app,"
            " or a recovery code."
        )
    key = f"mfa-auth-user-{user.pk}"
    if not ratelimit.consume(request, action="login_failed", key=key):
        sign_ins.record(sign_ins.What.LOCKED, user)
        raise TooMany("Too many codes were tried for this account. Wait five minutes, then try again.")
    for each in known.exclude(type=Authenticator.Type.WEBAUTHN):
        if each.wrap().validate_code(code):
            ratelimit.clear(request, action="login_failed", key=key)
            each.record_usage()
            sign_ins.record(sign_ins.What.FACTOR_USED, user, about=each.type)
            return
    sign_ins.record(sign_ins.What.FACTOR_FAILED, user)
    raise NotGiven(
        "This code is wrong or was used already. Send the next code from the authenticator app, or another"
        " recovery code."
    )


class RemovalError(InputError):
    """No reason was given."""

    what = "the removal"


@dataclass(frozen=True, slots=True)
class Removed:
    """How many ways to sign in, by kind, and sessions and tokens went."""

    passkeys: int
    apps: int
    sessions: int
    tokens: int


def of(user: User) -> Counter[str]:
    """How many passkeys (webauthn), authenticator apps (totp) and sets of recovery codes there are."""
    return Counter(Authenticator.objects.filter(user=user).values_list("type", flat=True))


def schools_of(user: User) -> set[int]:
    """The primary keys of a person's schools, whatever the relation. Three queries."""
    with row_scope.every_school():
        return {
            *Role.objects.filter(user=user).values_list("school_id", flat=True),
            *Guardian.objects.filter(user=user).values_list("school_id", flat=True),
            *Student.objects.filter(user=user).values_list("school_id", flat=True),
        }


def whoever_may_not(user: User, by: User) -> str:
    """Why an administrator may not remove another person's second factors; empty if they may.

    An account opens everything its owner may see. If that is more than one school's data, or the whole
    server, no single school's administrator may make it easier to open.
    """
    if user.pk == by.pk:
        return _("Change your own passkeys and codes on the page Security.")
    if user.is_staff or user.is_superuser:
        return _("This account administers the server. Ask the server's operator to change it.")
    theirs = schools_of(user)
    mine = set(access.schools(by).values_list("pk", flat=True))
    if not theirs or not theirs & mine:
        return _("Only an administrator of the person's school can reset the second factor.")
    if theirs - mine:
        return _("This account also has access to another school. Ask the server's operator to change it.")
    return ""


def remove(user: User, reason: str, *, by: User | None, at: dt.datetime) -> Removed:
    """Remove every passkey, authenticator app and recovery code of someone who lost them, and end sessions.

    The password stays, and opens the account alone from then on. What a passkey signed can still be verified:
    its public key is in the ledger. ``by`` is None for the server's command line.

    Raises:  NotAllowed; RemovalError where no reason is given; Conflict where there is nothing to take.
    Effects: one transaction, kept as a change about people at each of the person's schools, with the mail.
    """
    errors = Errors()
    reason = " ".join(reason.replace("\x00", "").split())
    if not reason:
        errors.add("reason", _("is blank; enter the reason and how you verified the person"))
    elif len(reason) > MOST_REASON:
        errors.add("reason", f"{len(reason)} characters; at most {MOST_REASON} are allowed here")
    errors.stop(RemovalError)
    with transaction.atomic():
        whose = User.objects.select_for_update(no_key=True).get(pk=user.pk)
        if by is not None and (why_not := whoever_may_not(whose, by)):
            raise NotAllowed(why_not)
        held = of(whose)
        if not held:
            raise Conflict(
                _("%(person)s has no passkey, authenticator app or recovery code.") % {"person": whose}
            )
        Authenticator.objects.filter(user=whose).delete()
        sign_ins.record(sign_ins.What.FACTOR_REMOVED, whose)
        sessions, tokens = whose.end_access()
        caches["process"].delete(f"second-factor-{whose.pk}")
        for school in School.objects.filter(pk__in=schools_of(whose)).order_by("pk"):
            said = {
                "before": {_KINDS[kind]: number for kind, number in held.items()},
                "after": {"reason": reason},
            }
            people.note(school, by, "second factor removed", at, user=whose, **said)
        who = str(by) if by is not None else "Whoever runs the server"
        account_mails.tell(whose, "second_factor_removed", at=at, by=who, reason=reason)
    log.warning("second factor of user %s removed by %s", whose.pk, by.pk if by else "the command line")
    kinds = Authenticator.Type
    return Removed(held[kinds.WEBAUTHN], held[kinds.TOTP], sessions, tokens)
