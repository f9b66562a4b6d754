"""What every view of this API has in common."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from http import HTTPStatus
from types import SimpleNamespace
from typing import Any, ClassVar

from django.utils import timezone
from rest_framework.authentication import SessionAuthentication
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.throttling import AnonRateThrottle
from rest_framework.views import APIView

from api.v1.base.authentication import TokenAuthentication
from api.v1.base.description import Description
from api.v1.base.errors import Problem, too_large
from api.v1.base.parsing import MOST_BYTES, StrictJSONParser, read_query
from syllabus.engine.record import reading
from training.models import User


class Negotiation(DefaultContentNegotiation):
    """By the Accept header alone; ``?format=`` is an unknown parameter like any other."""

    settings = SimpleNamespace(URL_FORMAT_OVERRIDE=None)  # type: ignore[assignment]


class View(APIView):
    """Signed-in callers, JSON in and out, no parameter that is not known."""

    authentication_classes: Sequence[Any] = [TokenAuthentication, SessionAuthentication]
    parser_classes = [StrictJSONParser]
    content_negotiation_class = Negotiation
    metadata_class = None
    schema = Description()
    #: How each parameter of a GET's query string is read; no other method takes any.
    query: ClassVar[Mapping[str, reading.Read]] = {}

    #: The one clock of a request, in UTC.
    at: dt.datetime
    asked: dict[str, Any]

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        self.at = timezone.now()
        super().initial(request, *args, **kwargs)
        if "chunked" in request.headers.get("Transfer-Encoding", "").lower():
            raise Problem(
                HTTPStatus.LENGTH_REQUIRED,
                "A body sent in chunks is not read here; send it whole, with its Content-Length.",
            )
        length = request.META.get("CONTENT_LENGTH") or "0"
        if length.isdecimal() and int(length) > MOST_BYTES:
            raise too_large(MOST_BYTES)
        self.asked = read_query(request.query_params, self.query if request.method in ("GET", "HEAD") else {})

    def finalize_response(self, request: Request, response: Response, *args: Any, **kwargs: Any) -> Response:
        response = super().finalize_response(request, response, *args, **kwargs)
        response.headers.setdefault("Cache-Control", "no-store")
        return response

    @property
    def user(self) -> User:
        """Who is asking; only for views that let nobody else in."""
        user = self.request.user
        assert isinstance(user, User)
        return user

    @property
    def today(self) -> dt.date:
        """The day it is in UTC."""
        return self.at.astimezone(dt.UTC).date()


class AnonymousThrottle(AnonRateThrottle):
    """Fair shares for callers who did not sign in, each known by address alone."""

    scope = "anonymous"
    rate = "300/min"


class OpenView(View):
    """For everybody: what is asked here touches nothing that is stored."""

    permission_classes = [AllowAny]
    throttle_classes = [AnonymousThrottle]
