"""Paths below /api/ work with and without a trailing slash.

A redirect would lose the body of a POST.
"""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.urls import is_valid_path


class EitherSlash:
    """Middleware: if no route matches the path, try the other form."""

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
