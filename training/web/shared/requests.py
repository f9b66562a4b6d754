"""The request log: id, route, status, duration, and the user's number.

It never has the path as typed, a body, a name or an e-mail address: more people read a log, and for longer,
than may read a record.
"""

import logging
import re
import secrets
import time
from collections.abc import Callable
from contextvars import ContextVar

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils.functional import LazyObject, empty
from prometheus_client import Counter, Histogram

HEADER = "X-Request-ID"
METHODS = ("GET", "HEAD", "OPTIONS", "POST", "PUT", "PATCH", "DELETE")
#: Monitoring requests them every few seconds; logged only if LOG_LEVEL is DEBUG.
_BY_MACHINES = ("healthz", "readyz", "metrics")
_ID = re.compile(r"[A-Za-z0-9-]{8,64}")

ANSWERED = Counter("training_requests_total", "Requests answered.", ["method", "route", "status"])
SECONDS = Histogram(
    "training_request_seconds",
    "Seconds from the request to the beginning of its answer.",
    ["method", "route"],
    buckets=(0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10),
)

logger = logging.getLogger("training.requests")
_current: ContextVar[HttpRequest | None] = ContextVar("request", default=None)


def current() -> dict[str, str | int]:
    """The ``request`` id and ``user`` number of the current request, as far as known."""
    request = _current.get()
    if request is None:
        return {}
    found: dict[str, str | int] = {"request": getattr(request, "request_id", "")}
    user = request.__dict__.get("user")
    # Only a user who is loaded already, because loading one would be a query for the log's sake.
    if user is not None and not (isinstance(user, LazyObject) and user._wrapped is empty) and user.pk:
        found["user"] = user.pk
    return found


def route_of(request: HttpRequest) -> str:
    """The route's pattern, so that there are few and none identifies a person."""
    if request.path_info.startswith(settings.STATIC_URL):
        return "static"
    match = request.resolver_match
    return (match.view_name or match.route) if match else "nowhere"


class Noted:
    """The outermost middleware: gives each request an id, counts it, and writes its log line."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get(HEADER, "") if settings.BEHIND_OUR_PROXY else ""
        request.request_id = given if _ID.fullmatch(given) else secrets.token_hex(8)  # type: ignore[attr-defined]
        noted = _current.set(request)
        began = time.perf_counter()
        try:
            response = self.get_response(request)
            self.note(request, response, time.perf_counter() - began)
        finally:
            _current.reset(noted)
        response[HEADER] = request.request_id  # type: ignore[attr-defined]
        return response

    def note(self, request: HttpRequest, response: HttpResponse, seconds: float) -> None:
        route, status = route_of(request), response.status_code
        method = request.method if request.method in METHODS else "other"
        ANSWERED.labels(method, route, str(status)).inc()
        SECONDS.labels(method, route).observe(seconds)
        logger.log(
            logging.DEBUG if route in (*_BY_MACHINES, "static") else logging.INFO,
            "%s %s %s in %.0f ms",
            method,
            route,
            status,
            seconds * 1000,
            extra={"method": method, "route": route, "status": status, "ms": round(seconds * 1000, 1)},
        )
