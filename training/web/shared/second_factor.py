"""Whoever must have a second factor and has none: every page leads to where it is set up."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext

from training.services.people import second_factor

#: What opens all the same: to set one up, to sign out, to read how, and what is no page about anybody.
_OPEN = {
    "account_change_password",
    "account_logout",
    "account_reauthenticate",
    "healthz",
    "help",
    "help-page",
    "logout",
    "manifest",
    "metrics",
    "readyz",
    "security",
    "tablet",
    "words",
    "worker",
}


class Required:
    """Middleware, after the one that knows the user. The API's views ask by themselves."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> HttpResponse | None:
        match = request.resolver_match
        name = (match.url_name if match else None) or ""
        if name in _OPEN or name.startswith("mfa_") or (match and match.namespace == "api-v1"):
            return None
        if not request.user.is_authenticated or not second_factor.missing(request.user):
            return None
        if name == "home":  # where every sign-in leads: the page says it itself
            return redirect("security")
        messages.error(request, gettext("Set up a second factor first."))
        return redirect("security")
