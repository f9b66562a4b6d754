"""URLs of the account pages, under the names that allauth expects."""

from allauth.account import views as account
from allauth.mfa.base import views as second_factor
from allauth.mfa.recovery_codes import views as recovery
from allauth.mfa.totp import views as totp
from allauth.mfa.webauthn import views as passkeys
from allauth.socialaccount.providers.openid_connect import views as openid_connect
from django.urls import path, re_path
from django.utils.translation import gettext_lazy as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from training.web.accounts import provider, views
from training.web.people import invitations, sign_ins

HERE = "training/account"


def page(view, template, **told):  # type: ignore[no-untyped-def]
    """An allauth view with our template and no caching; ``told`` is extra template context."""
    made = view.as_view(template_name=f"{HERE}/{template}.html", extra_context=told)
    return never_cache(require_http_methods(["GET", "HEAD", "POST"])(made))


login = page(views.Login, "login")
reset = page(
    account.PasswordResetView,
    "form",
    title=_("Reset your password"),
    lead=_("We will send a link to set a new password to the e-mail address of your account."),
    button=_("Send link"),
)
urlpatterns = [
    path("login/", login, name="login"),
    path("login/", login, name="account_login"),
    path("logout/", require_POST(account.LogoutView.as_view()), name="logout"),
    path("logout/", require_POST(account.LogoutView.as_view()), name="account_logout"),
    path("login/second/", page(views.SecondFactor, "second_factor"), name="mfa_authenticate"),
    path("login/passkey/", views.LoginByPasskey.as_view(), name="mfa_login_webauthn"),
    path("account/", views.security, name="security"),
    path("account/", views.security, name="mfa_index"),
    path("account/", views.security, name="mfa_list_webauthn"),
    path("login/<slug:provider_id>/start/", provider.start, name="openid_connect_login"),
    path(
        "login/<slug:provider_id>/done/",
        never_cache(require_safe(openid_connect.callback)),
        name="openid_connect_callback",
    ),
    path("account/unlink/", provider.unlink, name="unlink"),
    path("account/sessions/<int:pk>/end/", views.end_session, name="end_session"),
    path("account/invitations/<int:pk>/accept/", invitations.accept, name="accept-invitation"),
    path("account/invitations/<int:pk>/decline/", invitations.decline, name="decline-invitation"),
    path("invitations/<str:key>/", invitations.open_link, name="invitation"),
    path("account/events/", sign_ins.own, name="sign-in-events"),
    path("account/tokens/end/", views.end_tokens, name="end_tokens"),
    path(
        "account/password/",
        page(
            account.PasswordChangeView, "form", title=_("Change your password"), button=_("Change password")
        ),
        name="account_change_password",
    ),
    path("password/", reset, name="account_reset_password"),
    path(
        "password/sent/",
        page(
            account.PasswordResetDoneView,
            "told",
            title=_("Check your e-mail"),
            lead=_(
                "If an account has this e-mail address, a link to set a new password is on its way. "
                "If it does not arrive in a few minutes, check your spam folder, or ask your "
                "school's administrator which address your account has."
            ),
        ),
        name="account_reset_password_done",
    ),
    re_path(
        r"^password/(?P<uidb36>[0-9A-Za-z]+)-(?P<key>.+)/$",
        page(views.NewPassword, "new_password"),
        name="account_reset_password_from_key",
    ),
    path(
        "password/set/",
        page(
            account.PasswordResetFromKeyDoneView,
            "told",
            title=_("Password changed"),
            lead=_("Sign in with the new password."),
        ),
        name="account_reset_password_from_key_done",
    ),
    path(
        "account/confirm/",
        page(account.ReauthenticateView, "confirm", title=_("Re-authenticate")),
        name="account_reauthenticate",
    ),
    path(
        "account/confirm/code/",
        page(second_factor.ReauthenticateView, "confirm", title=_("Re-authenticate")),
        name="mfa_reauthenticate",
    ),
    path(
        "account/confirm/passkey/",
        page(views.ConfirmByPasskey, "confirm_passkey", title=_("Re-authenticate")),
        name="mfa_reauthenticate_webauthn",
    ),
    path("account/passkeys/add/", page(views.AddPasskey, "add_passkey"), name="mfa_add_webauthn"),
    path(
        "account/passkeys/<int:pk>/",
        page(passkeys.EditWebAuthnView, "form", title=_("Rename a passkey"), button=_("Rename passkey")),
        name="mfa_edit_webauthn",
    ),
    path(
        "account/passkeys/<int:pk>/remove/",
        page(
            passkeys.RemoveWebAuthnView,
            "form",
            title=_("Remove a passkey"),
            lead=_(
                "You can no longer sign in with it. What you signed with it stays signed and can "
                "still be verified."
            ),
            button=_("Remove passkey"),
        ),
        name="mfa_remove_webauthn",
    ),
    path("account/app/", page(views.AddApp, "add_app"), name="mfa_activate_totp"),
    path(
        "account/app/remove/",
        page(
            totp.DeactivateTOTPView,
            "form",
            title=_("Remove the authenticator app"),
            lead=_("You no longer enter its codes when you sign in."),
            button=_("Remove authenticator app"),
        ),
        name="mfa_deactivate_totp",
    ),
    path(
        "account/recovery-codes/",
        page(recovery.ViewRecoveryCodesView, "recovery_codes"),
        name="mfa_view_recovery_codes",
    ),
    path(
        "account/recovery-codes/new/",
        page(
            recovery.GenerateRecoveryCodesView,
            "form",
            title=_("New recovery codes"),
            lead=_("Your current codes will stop working."),
            button=_("Create new recovery codes"),
        ),
        name="mfa_generate_recovery_codes",
    ),
]
