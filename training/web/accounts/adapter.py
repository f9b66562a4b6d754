"""Our settings of allauth: our words, no sign-up, and mail only to the account's own address."""

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from allauth.core import context
from allauth.mfa.adapter import DefaultMFAAdapter
from allauth.mfa.models import Authenticator
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from training.models import User
from training.services import limits
from training.services.people import account_mails
from training.services.signing import wrong_passwords
from training.web.accounts import provider

NAME = "Student pilot training record"
#: The message for the next page, by allauth's name for it. A name that is missing here has no message.
SAID = {
    "account/messages/password_changed.txt": _("Password changed. Other sessions and tokens have ended."),
    "mfa/messages/webauthn_added.txt": _("Passkey added."),
    "mfa/messages/webauthn_removed.txt": _("Passkey removed."),
    "mfa/messages/totp_activated.txt": _("Authenticator app set up."),
    "mfa/messages/totp_deactivated.txt": _("Authenticator app removed."),
    "socialaccount/messages/account_connected.txt": _("Account linked."),
    "socialaccount/messages/account_connected_updated.txt": _("Account linked."),
    "socialaccount/messages/account_connected_other.txt": _("It is linked to another person's account here."),
    "mfa/messages/recovery_codes_generated.txt": _(
        "New recovery codes created. The old ones no longer work."
    ),
}
WAYS = {
    "reauthenticate": _("Use your password"),
    "mfa_reauthenticate": _("Use a code"),
    "mfa_reauthenticate:webauthn": _("Use a passkey"),
}


class AccountAdapter(DefaultAccountAdapter):
    """The school creates the accounts; people log in with their account's e-mail address."""

    error_messages = {
        **DefaultAccountAdapter.error_messages,
        "email_password_mismatch": _("Wrong e-mail or password. Passwords are case-sensitive."),
        "too_many_login_attempts": _("Too many attempts. Wait five minutes, then try again."),
        "rate_limited": _("Too many attempts. Wait a few minutes, then try again."),
        "enter_current_password": _("Wrong current password."),
        "incorrect_password": _("Wrong password."),
        "incorrect_code": _("This code is wrong or was used already. Wait for the next code."),
        "invalid_password_reset": _("This link no longer works. Request a new one."),
    }

    def get_client_ip(self, request: HttpRequest) -> str:
        return limits.address(request)

    def pre_authenticate(self, request: HttpRequest, **credentials: Any) -> None:
        super().pre_authenticate(request, **credentials)
        if wrong_passwords.locked(credentials.get("email", "")):
            raise self.validation_error("too_many_login_attempts")

    def authentication_failed(self, request: HttpRequest, **credentials: Any) -> None:
        where = self.get_client_ip(request)
        wrong_passwords.note(credentials.get("email", ""), at=timezone.now(), where=where)

    def _get_login_attempts_cache_key(self, request: HttpRequest, **credentials: Any) -> str:
        """By the account alone, whichever of the server's names it is tried under."""
        return f"{credentials.get('email', '')}".strip().casefold()

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False

    def get_login_stages(self) -> list[str]:
        stages: list[str] = super().get_login_stages()
        if provider.gave_second_factor():
            stages.remove("allauth.mfa.stages.AuthenticateStage")
        return stages

    def reauthenticate(self, user: User, password: str) -> bool:
        found = self.authenticate(context.request, email=user.email, password=password)
        return found is not None and found.pk == user.pk

    def get_reauthentication_methods(self, user: Any) -> list[dict[str, Any]]:
        ways = super().get_reauthentication_methods(user)
        return [{**each, "description": WAYS[each["id"]]} for each in ways]

    def respond_user_inactive(self, request: HttpRequest, user: Any) -> HttpResponse:
        messages.error(request, _("This account is closed. Ask your school's administrator to reopen it."))
        return redirect("login")

    def add_message(
        self,
        request: HttpRequest,
        level: int,
        message_template: str | None = None,
        message_context: dict[str, Any] | None = None,
        extra_tags: str = "",
        message: str | None = None,
    ) -> None:
        text = message or SAID.get(message_template or "")
        if text:
            messages.add_message(request, level, text, extra_tags=extra_tags)

    def send_notification_mail(
        self,
        template_prefix: str,
        user: Any,
        context: dict[str, Any] | None = None,
        email: str | None = None,
    ) -> None:
        """Tell the account's owner by e-mail that a way to log in has changed."""
        what = template_prefix.rpartition("/")[2]
        if what in account_mails.SAID:
            request = self.request
            program = self.get_http_user_agent(request)[:120]
            where = ", ".join(filter(None, (self.get_client_ip(request), program)))
            account_mails.tell(user, what, at=timezone.now(), where=where)


class SecondFactorAdapter(DefaultMFAAdapter):
    """Passkeys, authenticator apps and recovery codes."""

    error_messages = {
        **DefaultMFAAdapter.error_messages,
        "incorrect_code": _("Passkey not accepted. Try again."),
    }

    def get_totp_issuer(self) -> str:
        return NAME

    def generate_authenticator_name(self, user: Any, type: Authenticator.Type) -> str:
        number = Authenticator.objects.filter(user_id=user.pk, type=type).count() + 1
        return gettext("Passkey %(number)d") % {"number": number}

    def get_public_key_credential_rp_entity(self) -> dict[str, str]:
        return {"id": context.request.get_host().partition(":")[0], "name": NAME}
