"""An address below /api/ answers with a slash at its end and without.

A redirect would lose the body of a POST, and "there is nothing at" an address one character off helps nobody.
"""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.urls import is_valid_path


class EitherSlash:
    """Middleware: where nothing is at the address as it came, the other form is asked."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        path = request.path_info
        if path.startswith("/api/") and not is_valid_path(path):
            other = path[:-1] if path.endswith("/") else f"{path}/"
            if is_valid_path(other):
                request.path_info = other
                request.path = request.path[:-1] if path.endswith("/") else f"{request.path}/"
        return self.get_response(request)
