"""Re-authentication for a signature on a page: the password, or a passkey's answer in a hidden field."""

import datetime as dt
import json
from collections.abc import Callable, Iterable
from typing import Any

from allauth.core import ratelimit
from django import forms
from django.conf import settings
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _

from training.models import User
from training.services.signatures import Signer
from training.services.signing import reauthentication
from training.services.signing.reauthentication import Act, Confirmed, Given, NotConfirmed, Site
from training.web.shared.forms import Form

_MOST = 20_000
_SIGNED = ("clientDataJSON", "authenticatorData", "signature")


class Confirmation(Form):
    """The re-authentication fields of every form that signs; ``forms/confirm.html`` shows them."""

    passkey = forms.CharField(widget=forms.HiddenInput)
    confirm_password = forms.CharField(widget=forms.PasswordInput)


def signer(request: HttpRequest, user: User, at: dt.datetime) -> Signer:
    """The signer, for one of ``training.services.signatures``. Raises: NotConfirmed."""
    if not ratelimit.consume(request, action="reauthenticate", user=user):
        raise NotConfirmed(_("Not signed. Too many attempts. Wait one minute, then sign again."))
    site = Site.of(request.get_host(), request.scheme or "https", settings.CSRF_TRUSTED_ORIGINS)
    return Signer(user, _given(Confirmation.bind(request)), site, at, "web")


def confirm(
    request: HttpRequest, user: User, act: Callable[[bool], Act], settled: Iterable[Any]
) -> Confirmed:
    """Re-authenticate the user for ``act``, which gets whether it was by passkey.

    Raises: NotConfirmed.
    """
    by = signer(request, user, timezone.now())
    return reauthentication.confirm(
        user, by.given, act(by.given.passkey is not None), site=by.site, settled=settled
    )


def _given(sent: Confirmation) -> Given:
    answer = sent["passkey"].value() or ""
    if not answer:
        return Given(password=sent["confirm_password"].value() or "")
    try:
        if len(answer) > _MOST:
            raise ValueError("too long")
        said = json.loads(answer)
        response = {key: said["response"][key] for key in _SIGNED}
        if not all(isinstance(each, str) for each in (said["id"], said.get("nonce", ""), *response.values())):
            raise ValueError("no text")
    except (ValueError, KeyError, TypeError, RecursionError):
        raise NotConfirmed(_("Not signed. Could not read the passkey's answer. Try again.")) from None
    return Given(passkey={"id": said["id"], "nonce": said.get("nonce"), "response": response})
