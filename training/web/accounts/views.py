"""The page on which people see and end the ways to log in to their account."""

import json
import zoneinfo
from typing import Any

from allauth.account import models as account
from allauth.account.utils import get_next_redirect_url
from allauth.account.views import LoginView, PasswordResetFromKeyView
from allauth.mfa.base.views import AuthenticateView
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.views import ActivateTOTPView
from allauth.mfa.webauthn.internal import flows
from allauth.mfa.webauthn.views import AddWebAuthnView, LoginWebAuthnView, ReauthenticateWebAuthnView
from allauth.usersessions.models import UserSession
from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST
from knox.models import AuthToken

from training.presenters.days import instant
from training.services.people import invitations, second_factor
from training.services.reminders import preferences
from training.web.accounts import provider
from training.web.people.invitations import shown
from training.web.shared.opening import SignedIn, signed_in


class Login(LoginView):
    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {**super().get_context_data(**kwargs), "provider": settings.OIDC_NAME}


class _ForTheBrowser:
    """Puts WebAuthn options into a form attribute, because the content policy forbids inline scripts."""

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        told: dict[str, Any] = super().get_context_data(**kwargs)  # type: ignore[misc]
        for asked in told.get("js_data", {}).values():
            told["passkey_options"] = json.dumps(asked)
        return told


class SecondFactor(_ForTheBrowser, AuthenticateView):
    pass


class ConfirmByPasskey(_ForTheBrowser, ReauthenticateWebAuthnView):
    pass


class AddPasskey(_ForTheBrowser, AddWebAuthnView):
    pass


class AddApp(ActivateTOTPView):
    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        told: dict[str, Any] = super().get_context_data(**kwargs)
        drawn = told["totp_svg"].partition("?>")[2]  # the SVG without its XML declaration
        return {**told, "totp_picture": mark_safe(drawn)}  # noqa: S308 - drawn here, of squares


class NewPassword(PasswordResetFromKeyView):
    """A reset ends the session of this browser too, where it was signed in."""

    def form_valid(self, form: Any) -> HttpResponse:
        answer = super().form_valid(form)
        self.request.session.flush()
        return answer


class LoginByPasskey(LoginWebAuthnView):
    """GET: the browser's WebAuthn options. POST: log in with the browser's answer, then go to the page asked
    for.
    """

    def form_valid(self, form: Any) -> HttpResponse:
        used = form.cleaned_data["credential"]
        login = account.Login(user=used.user, redirect_url=get_next_redirect_url(self.request))
        return flows.perform_passwordless_login(self.request, used, login)


@signed_in("GET")
def security(request: SignedIn) -> HttpResponse:
    """The user's passkeys, authenticator app, recovery codes, sessions and API tokens."""
    UserSession.objects.create_from_request(request)  # a session that began before sessions were listed
    by_type: dict[str, list[Authenticator]] = {}
    for each in Authenticator.objects.filter(user=request.user).order_by("created_at", "pk"):
        by_type.setdefault(each.type, []).append(each)
    sessions = UserSession.objects.purge_and_list(request.user)
    zone = preferences.zone_of(request.user)
    told = {
        "passkeys": [
            {"row": each, "name": each.wrap().name} for each in by_type.get(Authenticator.Type.WEBAUTHN, [])
        ],
        "app": by_type.get(Authenticator.Type.TOTP),
        "provider": settings.OIDC_NAME,
        "linked": provider.is_linked(request.user),
        "recovery": by_type.get(Authenticator.Type.RECOVERY_CODES),
        "sessions": [
            {"row": each, "since": instant(each.created_at, zoneinfo.ZoneInfo(zone))}
            for each in sorted(sessions, key=lambda each: each.created_at, reverse=True)
        ],
        "zone": zone,
        "must": second_factor.missing(request.user),
        "invitations": shown(invitations.own(request.user, timezone.now()), timezone.now()),
        "tokens": AuthToken.objects.filter(user=request.user).count(),
    }
    return render(request, "training/account/security.html", told)


@require_POST
@login_required
def end_session(request: SignedIn, pk: int) -> HttpResponse:
    """End one of the user's sessions; ending the current one logs out."""
    found = get_object_or_404(UserSession, pk=pk, user=request.user)
    present = found.is_current()
    found.end()
    if present:
        request.session.flush()
        return redirect("home")
    messages.success(request, _("Session ended."))
    return redirect("security")


@require_POST
@login_required
def end_tokens(request: SignedIn) -> HttpResponse:
    """Revoke all API tokens of the user."""
    AuthToken.objects.filter(user=request.user).delete()
    messages.success(request, _("Tokens revoked. Programs must sign in again."))
    return redirect("security")
