"""Tells people by mail when the sign-in of their account changes, so that they notice a stranger's change."""

import datetime as dt
import zoneinfo

from django.conf import settings
from django.dispatch import receiver
from django.utils import translation
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from training.models import User
from training.presenters.days import moment
from training.services.reminders import outgoing, preferences
from training.services.signing import wrong_passwords

#: Changes with a sentence of their own.
SAID = {
    "password_changed": gettext_noop("The password of your account was changed."),
    "password_set": gettext_noop("A password was set for your account."),
    "password_reset": gettext_noop("The password of your account was reset through an e-mail link."),
    "totp_activated": gettext_noop("An authenticator app was set up for your account."),
    "totp_deactivated": gettext_noop("The authenticator app was removed from your account."),
    "webauthn_added": gettext_noop("A passkey was added to your account."),
    "webauthn_removed": gettext_noop("A passkey was removed from your account."),
    "account_connected": gettext_noop("Your account was linked to an account of your school's provider."),
    "account_disconnected": gettext_noop("The link to your school's provider was removed from your account."),
    "recovery_codes_generated": gettext_noop("New recovery codes were created for your account."),
    "wrong_passwords": gettext_noop(
        "A wrong password was entered for your account five times. For five minutes, no password is accepted."
    ),
    "second_factor_removed": gettext_noop(
        "%(by)s removed every passkey, authenticator app and recovery code from your account, and ended its"
        " open sessions. The reason given: %(reason)s\n\nThe password alone opens the account now. Add a"
        " passkey or an authenticator app again on the page Security. What you signed stays signed."
    ),
}


@receiver(wrong_passwords.locking)
def tell_of_wrong_passwords(*, email: str, at: dt.datetime, where: str, **_: object) -> None:
    """Tell whoever has the account that it is locked."""
    for user in User.objects.filter(email__iexact=email.strip()):
        tell(user, "wrong_passwords", at=at, where=where)


def tell(user: User, what: str, *, at: dt.datetime, where: str = "", **told: str) -> None:
    """Queue the mail about ``what``, a key of SAID, in the language of the person's profile.

    ``where``: from where it was done, as the server saw it; ``told``: what the sentence names.
    """
    with translation.override(preferences.of(user).language):
        lines = [
            _(SAID[what]) % told,
            _("This was done at %(time)s%(where)s.")
            % {
                "time": moment(at, zoneinfo.ZoneInfo(preferences.zone_of(user))),
                "where": _(", from %(where)s") % {"where": where} if where else "",
            },
            _(
                "If you did not do this or ask for it, set a new password at %(address)s, end the "
                "sessions that you do not recognize on the page Security, and tell your school's "
                "administrator."
            )
            % {"address": f"{settings.PUBLIC_ADDRESS}/password/"},
        ]
        subject = _("Your training record sign-in was changed")
    outgoing.notice(user, subject, "\n\n".join(lines) + "\n", at=at)
