"""allauth's forms with our labels, and a check of a passkey's use counter."""

from typing import Any, cast

from allauth.account import forms as account
from allauth.mfa.base import forms as codes
from allauth.mfa.models import Authenticator
from allauth.mfa.totp import forms as totp
from allauth.mfa.webauthn import forms as passkeys
from django import forms
from django.contrib.auth.password_validation import password_validators_help_texts
from django.utils.translation import gettext_lazy as _

from training.services.people import account_links
from training.services.signing import reauthentication


class _Ours:
    """Plain labels, no placeholders."""

    labels: dict[str, Any] = {}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        form = cast(forms.Form, self)
        form.label_suffix = ""
        for name, field in form.fields.items():
            field.widget.attrs.pop("placeholder", None)
            field.label = self.labels.get(name, field.label)
            field.help_text = ""
            if name == "password1":
                field.help_text = " ".join(password_validators_help_texts())


class Login(_Ours, account.LoginForm):
    labels = {"login": _("E-mail address"), "password": _("Password")}


class ChangePassword(_Ours, account.ChangePasswordForm):
    labels = {
        "oldpassword": _("Current password"),
        "password1": _("New password"),
        "password2": _("Repeat new password"),
    }


class ResetPassword(_Ours, account_links.ResetPassword):
    labels = {"email": _("E-mail address")}


class NewPassword(_Ours, account.ResetPasswordKeyForm):
    labels = {"password1": _("New password"), "password2": _("Repeat new password")}


class ConfirmByPassword(_Ours, account.ReauthenticateForm):
    labels = {"password": _("Password")}


class ConfirmByCode(_Ours, codes.ReauthenticateForm):
    labels = {"code": _("Code from your authenticator app, or a recovery code")}


class SecondFactor(_Ours, codes.AuthenticateForm):
    labels = {"code": _("Code from your authenticator app, or a recovery code")}


class ActivateApp(_Ours, totp.ActivateTOTPForm):
    labels = {"code": _("Code from the app")}


class AddPasskey(_Ours, passkeys.AddWebAuthnForm):
    """Every passkey unlocks by itself: it is stored on the device and requires a PIN, a finger or a face."""

    labels = {"name": _("Passkey name")}
    name = forms.CharField(required=False, max_length=60)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields.pop("passwordless", None)


class RenamePasskey(_Ours, passkeys.EditWebAuthnForm):
    labels = {"name": _("Passkey name")}
    name = forms.CharField(max_length=60)


class _Counted:
    """Refuses a passkey whose use counter went back: it may have been copied."""

    def clean_credential(self) -> Authenticator:
        used: Authenticator = super().clean_credential()  # type: ignore[misc]
        response = self.cleaned_data["credential"]["response"]  # type: ignore[attr-defined]
        try:
            reauthentication.count_use(
                used, reauthentication.LOGIN, reauthentication.sign_count(response["authenticatorData"])
            )
        except reauthentication.NotConfirmed as problem:
            raise forms.ValidationError(str(problem)) from None
        return used


class LoginByPasskey(_Counted, passkeys.LoginWebAuthnForm):
    pass


class SecondFactorByPasskey(_Counted, passkeys.AuthenticateWebAuthnForm):
    pass


class ConfirmByPasskey(_Counted, passkeys.ReauthenticateWebAuthnForm):
    pass
