"""The e-mail with which the owner of an account sets its password; nobody else ever knows it."""

from dataclasses import dataclass
from typing import Any

from allauth.account.forms import ResetPasswordForm
from allauth.core import ratelimit
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _

from training.models import School, User
from training.services.reminders import outgoing


class ResetPassword(ResetPasswordForm):
    """The request is queued for whichever address; who has the account is looked up when it is sent."""

    def clean_email(self) -> str:
        return str(self.cleaned_data["email"]).strip().lower()

    def save(self, request: HttpRequest, **_: Any) -> str:
        email = str(self.cleaned_data["email"])
        outgoing.link(email, at=timezone.now())
        return email


@dataclass(frozen=True, slots=True)
class Queued:
    """Whether the link is on its way, and what to say of it."""

    queued: bool
    words: str


def on_its_way(email: str) -> str:
    return _("A link to set the password is on its way to %(email)s.") % {"email": email}


def queue(request: HttpRequest, email: str, school: School) -> Queued:
    """Queue the link for an account's address, if not too many were queued for it a moment ago."""
    told = {"email": email}
    if not ratelimit.consume(request, action="reset_password", key=email.lower()):
        said = _(
            "No e-mail to %(email)s: too many were sent already. Wait, then send the link from the "
            "person's page."
        )
        return Queued(False, said % told)
    if not User.objects.filter(email=email, is_active=True).exists():
        return Queued(False, _("No e-mail to %(email)s. The account is closed.") % told)
    outgoing.link(email, at=timezone.now(), school=school)
    return Queued(True, on_its_way(email))
