"""The mail with which the owner of an account sets its password; nobody else ever knows it."""

from dataclasses import dataclass

from allauth.account.forms import ResetPasswordForm
from allauth.core import ratelimit
from django.http import HttpRequest
from django.utils.translation import gettext as _

from training.models import User


class ResetPassword(ResetPasswordForm):
    """Mail goes to the address on the account alone, as the school has it today."""

    def clean_email(self) -> str:
        email = str(self.cleaned_data["email"]).strip().lower()
        self.users = list(User.objects.filter(email=email, is_active=True))
        return email


@dataclass(frozen=True, slots=True)
class Sent:
    """Whether the link is on its way, and what to say of it."""

    sent: bool
    words: str


def send(request: HttpRequest, email: str) -> Sent:
    """Send the link to an account's address, if not too many went there a moment ago."""
    told = {"email": email}
    if not ratelimit.consume(request, action="reset_password", key=email.lower()):
        said = _(
            "No e-mail sent to %(email)s: too many were sent already. Wait, then send the link "
            "from the person's page."
        )
        return Sent(False, said % told)
    form = ResetPassword({"email": email})
    if not form.is_valid() or not form.users:
        return Sent(False, _("No e-mail sent to %(email)s. The account is closed.") % told)
    form.save(request)
    return Sent(True, _("Link to set the password sent to %(email)s.") % told)
