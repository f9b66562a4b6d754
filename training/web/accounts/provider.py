"""Sign-in by the school's own provider (OpenID Connect), for accounts that their owners linked to it.

It makes no account and links none by an e-mail address: people link their account on the page Security,
signed in and re-authenticated. Of the provider's answer only its name for the person is stored (``sub``). The
account needs its own second factor as well, unless the provider says that it checked one
(``OIDC_SECOND_FACTOR``).
"""

import logging
from typing import Any

from allauth.account.decorators import reauthentication_required
from allauth.core import context
from allauth.core.exceptions import ImmediateHttpResponse
from allauth.socialaccount.adapter import DefaultSocialAccountAdapter
from allauth.socialaccount.models import SocialAccount
from allauth.socialaccount.providers.base import AuthProcess
from allauth.socialaccount.providers.openid_connect import views as openid_connect
from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from training.models import User
from training.services.people import account_mails
from training.web.shared.opening import SignedIn, signed_in

log = logging.getLogger(__name__)


class ProviderAdapter(DefaultSocialAccountAdapter):
    """What allauth asks of us where the provider has answered."""

    def is_open_for_signup(self, request: HttpRequest, sociallogin: Any) -> bool:
        return False

    def populate_user(self, request: HttpRequest, sociallogin: Any, data: Any) -> Any:
        """Before the account is looked up: note the second factor, and forget all else that was said."""
        said = sociallogin.account.extra_data.get("id_token") or {}
        ways = {*(said.get("amr") or ()), said.get("acr")}
        request.provider_second_factor = bool(ways & set(settings.OIDC_SECOND_FACTOR))  # type: ignore[attr-defined]
        sociallogin.account.extra_data = {}
        return sociallogin.user

    def pre_social_login(self, request: HttpRequest, sociallogin: Any) -> None:
        """Nobody signs in by an account of the provider that is not linked."""
        if not sociallogin.is_existing and sociallogin.state.get("process") != AuthProcess.CONNECT:
            messages.error(
                request,
                _(
                    "This account of %(provider)s is not linked to an account here. Sign in with your"
                    " password or passkey, then link it on the page Security."
                )
                % {"provider": settings.OIDC_NAME},
            )
            raise ImmediateHttpResponse(redirect("login"))

    def on_authentication_error(self, request: HttpRequest, provider: Any, **given: Any) -> None:
        _failed(request)
        raise ImmediateHttpResponse(redirect("login"))

    def get_connect_redirect_url(self, request: HttpRequest, socialaccount: Any) -> str:
        return "/account/"


def _failed(request: HttpRequest) -> None:
    told = _("%(provider)s did not sign you in. Try again, or use your password or passkey.")
    messages.error(request, told % {"provider": settings.OIDC_NAME})


def gave_second_factor() -> bool:
    """Whether the provider says in this request that it asked for a second factor that the settings trust."""
    return bool(getattr(context.request, "provider_second_factor", False))


def is_linked(user: User) -> bool:
    return bool(SocialAccount.objects.filter(user=user).exists())


@require_POST
def start(request: HttpRequest, provider_id: str) -> HttpResponse:
    """On to the provider, to sign in or to link the account."""
    try:
        return openid_connect.login(request, provider_id)
    except OSError:  # whatever the HTTP client raises
        log.warning("unreachable", exc_info=True)
        _failed(request)
        return redirect("login")


@signed_in("POST")
@reauthentication_required(app="allauth.socialaccount")
def unlink(request: SignedIn) -> HttpResponse:
    """End the link; the password, or a passkey, opens the account as before."""
    if SocialAccount.objects.filter(user=request.user).delete()[0]:
        account_mails.tell(request.user, "account_disconnected", at=timezone.now())
        messages.success(request, _("Link removed."))
    return redirect("security")
