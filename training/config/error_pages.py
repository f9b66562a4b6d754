"""What is answered where no view of ours could: problem+json (RFC 9457) under ``/api/``, a page elsewhere."""

import logging
import sys
from collections.abc import Callable
from http import HTTPStatus
from typing import Any

from django.conf import settings
from django.db import InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template import loader
from django.views import defaults

from training.database import note

log = logging.getLogger(__name__)


def problem(status: HTTPStatus, detail: str) -> JsonResponse:
    """A problem document. It tells what was asked for and what to do, and nothing of our insides."""
    body = {"type": "about:blank", "title": status.phrase, "status": status.value, "detail": detail}
    return JsonResponse(body, status=status.value, content_type="application/problem+json")


def is_api(request: HttpRequest) -> bool:
    return request.path.startswith("/api/")


class EncryptedAPI:
    """Middleware: refuses an API call over plain HTTP where pages are redirected to HTTPS.

    A program that follows a redirect goes on sending its token in the clear, and nobody notices.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if settings.SECURE_SSL_REDIRECT and is_api(request) and not request.is_secure():
            return problem(
                HTTPStatus.FORBIDDEN, "The API answers over HTTPS only. Replace any token that you sent here."
            )
        return self.get_response(request)


def bad_request(request: HttpRequest, exception: Exception, *args: Any, **kwargs: Any) -> HttpResponse:
    if is_api(request):
        return problem(
            HTTPStatus.BAD_REQUEST, "The request cannot be read: look at its headers and its size."
        )
    return defaults.bad_request(request, exception)


def permission_denied(request: HttpRequest, exception: Exception, *args: Any, **kwargs: Any) -> HttpResponse:
    if is_api(request):
        return problem(HTTPStatus.FORBIDDEN, "You do not have access to this.")
    return defaults.permission_denied(request, exception)


def page_not_found(request: HttpRequest, exception: Exception, *args: Any, **kwargs: Any) -> HttpResponse:
    if is_api(request):
        return problem(
            HTTPStatus.NOT_FOUND,
            f"There is nothing at {request.path}. /api/v1/docs/ lists the paths.",
        )
    return defaults.page_not_found(request, exception)


def server_error(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
    fault = sys.exc_info()[1]
    if isinstance(fault, OperationalError | InterfaceError):
        log.warning("the database cannot be used: %s", note(fault))
        return _unreachable(request)
    if is_api(request):
        return problem(
            HTTPStatus.INTERNAL_SERVER_ERROR,
            "The error is ours and has been logged. Send the same request again later.",
        )
    return defaults.server_error(request)


def _unreachable(request: HttpRequest) -> HttpResponse:
    """The database is away, as while it is started anew: a short while, and the same again."""
    if is_api(request):
        made: HttpResponse = problem(
            HTTPStatus.SERVICE_UNAVAILABLE,
            "The records cannot be reached at the moment. Send the same again, with the same id: it is done"
            " once.",
        )
    else:
        made = HttpResponse(loader.get_template("503.html").render(), status=HTTPStatus.SERVICE_UNAVAILABLE)
    made.headers["Retry-After"] = "5"
    return made
