"""The base of every view of this API."""

import datetime as dt
from collections.abc import Sequence
from http import HTTPStatus
from types import SimpleNamespace
from typing import Any, ClassVar

from django.utils import timezone
from rest_framework.authentication import SessionAuthentication
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.throttling import BaseThrottle
from rest_framework.views import APIView

from api.v1.base.authentication import TokenAuthentication
from api.v1.base.description import Description, Parameter
from api.v1.base.errors import Problem, second_factor_missing, too_large
from api.v1.base.parsing import MOST_BYTES, StrictJSONParser, read_query
from api.v1.base.throttles import OpenThrottle
from training.models import User
from training.services import row_scope
from training.services.access import Acting
from training.services.people import second_factor


class Negotiation(DefaultContentNegotiation):
    """By the Accept header alone; ``?format=`` is an unknown parameter like any other."""

    settings = SimpleNamespace(URL_FORMAT_OVERRIDE=None)  # type: ignore[assignment]


class View(APIView):
    """Signed-in callers, JSON in and out, and no unknown parameters."""

    authentication_classes: Sequence[Any] = [TokenAuthentication, SessionAuthentication]
    parser_classes = [StrictJSONParser]
    content_negotiation_class = Negotiation
    metadata_class = None
    schema = Description()
    #: The parameters of a GET's query string; other methods take none.
    query: ClassVar[Sequence[Parameter]] = ()

    #: Whether it is refused to a caller who must have a second factor and has none.
    needs_second_factor: ClassVar[bool] = True

    #: The one clock of a request, in UTC.
    at: dt.datetime
    asked: dict[str, Any]

    def perform_authentication(self, request: Request) -> None:
        super().perform_authentication(request)
        row_scope.at_least(request.user.pk)

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        self.at = timezone.now()
        super().initial(request, *args, **kwargs)
        whose = request.user if self.needs_second_factor else None
        if isinstance(whose, User) and second_factor.missing(whose):
            raise second_factor_missing()
        if "chunked" in request.headers.get("Transfer-Encoding", "").lower():
            raise Problem(
                HTTPStatus.LENGTH_REQUIRED,
                "Chunked bodies are not accepted; send a Content-Length.",
            )
        length = request.META.get("CONTENT_LENGTH") or "0"
        if length.isdecimal() and int(length) > MOST_BYTES:
            raise too_large(MOST_BYTES)
        query = self.query if request.method in ("GET", "HEAD") else ()
        self.asked = read_query(request.query_params, {each.name: each.read for each in query})

    def check_throttles(self, request: Request) -> None:
        # What the address does not answer (405) asks for no password, so it uses up none of the tries.
        if hasattr(self, (request.method or "").lower()):
            super().check_throttles(request)

    def finalize_response(self, request: Request, response: Response, *args: Any, **kwargs: Any) -> Response:
        response = super().finalize_response(request, response, *args, **kwargs)
        response.headers.setdefault("Cache-Control", "no-store")
        return response

    def sent(self) -> dict[str, Any]:
        """The body, read as the operation describes it. Raises: the ``error`` of its serializer."""
        method = getattr(self, (self.request.method or "").lower())
        return method.described.body.sent(self.request)

    @property
    def user(self) -> User:
        """The signed-in user; only for views that require one."""
        user = self.request.user
        assert isinstance(user, User)
        return user

    @property
    def acting(self) -> Acting:
        return {"by": self.user, "at": self.at, "via": "api"}

    @property
    def today(self) -> dt.date:
        """Today in UTC."""
        return self.at.astimezone(dt.UTC).date()


class OpenView(View):
    """Open to everyone; nothing stored is used."""

    permission_classes = [AllowAny]
    throttle_classes: Sequence[type[BaseThrottle]] = [OpenThrottle]
