"""Every refusal as a problem document (RFC 9457), from one handler.

400: the request cannot be read. 422: its content is wrong or cannot be answered; ``errors`` has every place.
404 means "does not exist" and "no access" alike.
"""

import logging
from collections.abc import Iterable, Mapping
from http import HTTPStatus
from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig, SuspiciousOperation
from django.db import InterfaceError, OperationalError
from django.http import Http404
from rest_framework.exceptions import APIException
from rest_framework.response import Response
from rest_framework.views import set_rollback

from syllabus.engine.effort import TooMuch
from syllabus.engine.errors import (
    EngineError,
    Error,
    InputError,
    NotInForce,
    UnknownMilestone,
)
from syllabus.engine.rules.reasons import NotCovered
from training.database import note
from training.ledger.store.keys import NoKey
from training.ledger.store.proving import MissingHash
from training.record import SealedEntry
from training.services.errors import Changed, Conflict, NotAllowed, NotFound, Refused
from training.services.signing.reauthentication import Locked

logger = logging.getLogger(__name__)

MEDIA_TYPE = "application/problem+json"
#: Further errors are counted, not listed; the first hundred show what is wrong with the program.
MOST_ERRORS = 100
MOST_TEXT = 500
#: The type of a problem that needs no more than its status.
BLANK = "about:blank"
#: The type of a refusal where the rules do not cover the question; this server has a page at that path.
NOT_COVERED = "/problems/not-covered"
#: The type of a refusal because the caller's account must first have a second factor; as above.
SECOND_FACTOR = "/help/everyone/sign-in/"


#: The status for each exception of a service, the most specific first.
STATUS: Mapping[type[Refused], HTTPStatus] = {
    Locked: HTTPStatus.TOO_MANY_REQUESTS,
    NotAllowed: HTTPStatus.FORBIDDEN,
    NotFound: HTTPStatus.NOT_FOUND,
    Changed: HTTPStatus.PRECONDITION_FAILED,
    Conflict: HTTPStatus.CONFLICT,
    Refused: HTTPStatus.UNPROCESSABLE_ENTITY,
}
NO_KEY = "This server has no signing key; its operator has to set LEDGER_SIGNING_KEY."
NO_HASH = "The ledger lacks a hash that the proof needs; its operator has to run verify_ledger."


class Problem(Exception):
    """A refusal. ``detail`` names the error and what to do; ``more`` has further members of the document."""

    def __init__(
        self,
        status: HTTPStatus,
        detail: str,
        *,
        errors: Iterable[Error] = (),
        headers: Mapping[str, str] | None = None,
        more: Mapping[str, Any] | None = None,
        type: str = BLANK,
        title: str = "",
    ):
        self.status, self.detail = status, detail
        self.type, self.title = type, title or status.phrase
        self.errors, self.headers = tuple(errors), dict(headers or {})
        self.more = dict(more or {})
        super().__init__(detail)


class Unreadable(InputError):
    """The body is not JSON."""

    what = "the request's body"


def not_covered(refused: NotCovered, *, context: str = "", record: str = "") -> Problem:
    """A refusal because the rules do not cover the question.

    ``context`` and ``record`` are their places in the request.
    """
    key, within = refused.key, context
    if key == "certificate":
        key, within = "certificates", record
    return Problem(
        HTTPStatus.UNPROCESSABLE_ENTITY,
        f"{refused} The rules do not cover this, so there is no answer.",
        errors=[Error(f"{within}.{key}".lstrip("."), str(refused))],
        more={"milestone": refused.milestone},
        type=NOT_COVERED,
        title="Not covered by these rules",
    )


def second_factor_missing() -> Problem:
    """A refusal of everything, to whoever must have a second factor and has none."""
    return Problem(
        HTTPStatus.FORBIDDEN,
        "Your role needs a second factor, and this account has none. Sign in on the pages, and add a passkey"
        " or an authenticator app on the page Security.",
        type=SECOND_FACTOR,
        title="Second factor required",
    )


def not_found(what: str) -> Problem:
    """The same answer for what does not exist and for what the caller must not know of."""
    return Problem(HTTPStatus.NOT_FOUND, str(NotFound(what)))


#: Seconds after which a restarted database is usually available again.
RETRY_AFTER = 5
UNREACHABLE = (
    "The records cannot be reached right now. Your request may or may not have been "
    "carried out. Send it again with the same id: it is carried out only once."
)


def handler(exc: Exception, context: Mapping[str, Any]) -> Response:
    """The response to any exception of a view; an unexpected one is logged and answered without details."""
    set_rollback()
    problem = _as_problem(exc)
    if problem is None:
        request = context.get("request")
        logger.error("%s %s failed", getattr(request, "method", "?"), _route(request), exc_info=exc)
        problem = Problem(
            HTTPStatus.INTERNAL_SERVER_ERROR,
            "The error is ours and has been logged. Try again later.",
        )
    return Response(
        document(problem), status=problem.status, headers=problem.headers, content_type=MEDIA_TYPE
    )


def document(problem: Problem) -> dict[str, Any]:
    """The problem document's members."""
    body: dict[str, Any] = {
        "type": problem.type,
        "title": problem.title,
        "status": problem.status.value,
        "detail": _shown(problem.detail),
    }
    if problem.errors:
        body["errors"] = [
            {"place": _shown(error.place), "message": _shown(error.message)}
            for error in problem.errors[:MOST_ERRORS]
        ]
        if more := len(problem.errors) - MOST_ERRORS:
            body["errors_not_listed"] = max(more, 0)
    return {**body, **problem.more}


def _as_problem(exc: Exception) -> Problem | None:
    match exc:
        case Problem():
            return exc
        case Refused():
            return _of_a_service(exc)
        case EngineError():
            return _of_the_engine(exc)
        case NoKey():
            return Problem(HTTPStatus.SERVICE_UNAVAILABLE, NO_KEY)
        case MissingHash():
            return Problem(HTTPStatus.SERVICE_UNAVAILABLE, NO_HASH)
        case SealedEntry():
            return Problem(HTTPStatus.CONFLICT, str(exc))
        case RequestDataTooBig():
            return too_large()
        case SuspiciousOperation():
            return Problem(
                HTTPStatus.BAD_REQUEST, "The request cannot be read. Check its parameters and size."
            )
        case Http404():
            return not_found("such thing")
        case PermissionDenied():
            return Problem(HTTPStatus.FORBIDDEN, "You do not have access to this.")
        case APIException():
            return _of_the_framework(exc)
        case OperationalError() | InterfaceError():
            logger.warning("the database cannot be used: %s", note(exc))
            return Problem(
                HTTPStatus.SERVICE_UNAVAILABLE, UNREACHABLE, headers={"Retry-After": str(RETRY_AFTER)}
            )
    return None


def _of_a_service(exc: Refused) -> Problem:
    status = next(status for kind, status in STATUS.items() if isinstance(exc, kind))
    return Problem(status, exc.summary, errors=exc.errors, more=exc.facts)


def _of_the_engine(exc: EngineError) -> Problem | None:
    if isinstance(exc, Unreadable):
        return Problem(HTTPStatus.BAD_REQUEST, "The body is not readable JSON.", errors=exc.errors)
    if isinstance(exc, TooMuch):
        return Problem(HTTPStatus.UNPROCESSABLE_ENTITY, exc.summary, errors=exc.errors)
    if isinstance(exc, InputError):
        number = len(exc.errors)
        counted = "1 validation error" if number == 1 else f"{number} validation errors"
        return Problem(
            HTTPStatus.UNPROCESSABLE_ENTITY,
            f"{counted} in {exc.what}; see `errors`.",
            errors=exc.errors,
        )
    if isinstance(exc, NotCovered):
        return not_covered(exc)
    if isinstance(exc, UnknownMilestone):
        errors = [Error("milestone", str(exc))]
    elif isinstance(exc, NotInForce):
        errors = [Error("on", str(exc))]
    else:
        return None
    return Problem(HTTPStatus.UNPROCESSABLE_ENTITY, str(exc), errors=errors)


def _of_the_framework(exc: APIException) -> Problem:
    headers = {}
    if challenge := getattr(exc, "auth_header", None):
        headers["WWW-Authenticate"] = challenge
    if wait := getattr(exc, "wait", None):
        headers["Retry-After"] = str(int(wait) or 1)
    return Problem(HTTPStatus(exc.status_code), str(exc.detail), headers=headers)


def too_large(limit: int | None = None) -> Problem:
    most = f" At most {limit // 1024 // 1024} MB are read." if limit else ""
    return Problem(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, f"The body is too large.{most}")


def _shown(text: str) -> str:
    """Text for a JSON answer: without surrogates, and not megabytes of the request."""
    short = text if len(text) <= MOST_TEXT else text[: MOST_TEXT - 1] + "…"
    return short.encode("utf-8", "backslashreplace").decode("utf-8")


def _route(request: Any) -> str:
    """The route's pattern, which unlike the path identifies no student."""
    match = getattr(request, "resolver_match", None)
    return getattr(match, "route", None) or "an unknown address"
