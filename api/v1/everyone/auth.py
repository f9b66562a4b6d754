"""Tokens for programs: created with e-mail and password, revoked by their owner."""

from http import HTTPStatus
from typing import Any

from allauth.account.adapter import get_adapter
from django.core.exceptions import ValidationError
from django.db import transaction
from knox.models import AuthToken
from knox.settings import knox_settings
from rest_framework.permissions import AllowAny
from rest_framework.request import Request

from api.v1.base.authentication import TokenAuthentication
from api.v1.base.description import Answer, describe
from api.v1.base.errors import Problem, second_factor_missing
from api.v1.base.field_types import INSTANT, NAME, STRING, TEXT
from api.v1.base.serializers import Field, RequestSerializer, ResponseSerializer
from api.v1.base.throttles import Throttle
from api.v1.base.views import View
from syllabus.engine.errors import InputError
from training.models import User
from training.services import limits
from training.services.people import second_factor
from training.services.signing import nonces


class LoginError(InputError):
    """The credentials cannot be read."""

    what = "the credentials"


class LoginThrottle(Throttle):
    """Slows down guessing: few attempts for an address, and for an account wherever they come from."""

    scope = "login"
    most = 30

    def callers(self, request: Request) -> list[str]:
        return [limits.network(request)]


class AccountThrottle(LoginThrottle):
    scope = "login-account"
    most = 10

    def callers(self, request: Request) -> list[str]:
        email = request.data.get("email") if isinstance(request.data, dict) else None
        return [limits.digest(f"{email}".strip().casefold())]


class LoginSerializer(RequestSerializer):
    error = LoginError
    example = staticmethod(lambda: {"email": "bo@school.example", "password": "your own three words"})

    email = Field(NAME)
    password = Field(TEXT)
    code = Field(NAME, "From the authenticator app, or a recovery code; each works once.", required=False)


class TokenSerializer(ResponseSerializer):
    token = Field(STRING)
    expires = Field(INSTANT, allow_null=True)


class Login(View):
    authentication_classes = []
    permission_classes = [AllowAny]
    throttle_classes = [LoginThrottle, AccountThrottle]

    @describe(
        "login",
        "Create a token",
        Answer(TokenSerializer, "The token, and when it expires unless it is used"),
        body=LoginSerializer,
        refuses=(401, 403),
    )
    def post(self) -> Any:
        """Creates a token for the header `Authorization: Token …` of every further call. It is shown only
        once. It expires when it is not used for long, and some hours after its creation in any case. A user
        has at most 20 tokens; a further one replaces the oldest. If the account has an authenticator app or a
        passkey, the password alone is not enough (401): `code` is a code of the app or a recovery code. Each
        code works once.
        """
        sent = self.sent()
        try:
            user = get_adapter().authenticate(
                self.request._request, email=sent["email"], password=sent["password"]
            )
        except ValidationError as locked:
            raise Problem(HTTPStatus.TOO_MANY_REQUESTS, str(locked.message)) from None
        if user is None:
            raise _not_in("Wrong e-mail or password.")
        try:
            second_factor.check(self.request._request, user, sent["code"])
        except second_factor.TooMany as refused:
            raise Problem(HTTPStatus.TOO_MANY_REQUESTS, str(refused)) from None
        except second_factor.NotGiven as refused:
            raise _not_in(str(refused)) from None
        if second_factor.missing(user):
            raise second_factor_missing()
        with transaction.atomic():
            # A password set since it was compared has ended the tokens: it makes no more of them.
            if User.objects.select_for_update(no_key=True).get(pk=user.pk).password != user.password:
                raise _not_in("Wrong e-mail or password.")
            _make_room(user)
            made, token = AuthToken.objects.create(user=user)
        return {"token": token, "expires": made.expiry}


def _not_in(says: str) -> Problem:
    return Problem(
        HTTPStatus.UNAUTHORIZED, says, headers={"WWW-Authenticate": knox_settings.AUTH_HEADER_PREFIX}
    )


def _make_room(user: Any) -> None:
    """Delete the oldest tokens, so that one more stays within the limit."""
    newest_first = AuthToken.objects.filter(user=user).order_by("-created").values_list("pk", flat=True)
    most = knox_settings.TOKEN_LIMIT_PER_USER
    if most is not None:
        AuthToken.objects.filter(pk__in=list(newest_first)[max(most - 1, 0) :]).delete()


class NonceSerializer(ResponseSerializer):
    nonce = Field(STRING)
    expires = Field(INSTANT)


class Nonce(View):
    @describe("drawNonce", "Get a nonce for one passkey signature", Answer(NonceSerializer, "The nonce"))
    def get(self) -> Any:
        """A passkey signs it with the content, and `passkey.nonce` sends it. It is the caller's alone and is
        used once: a second signature with it is refused (403). The same request again gives the same answer.
        """
        return {"nonce": nonces.draw(self.user), "expires": self.at + nonces.VALID}


class Logout(View):
    needs_second_factor = False
    authentication_classes = [TokenAuthentication]

    @describe("logout", "Revoke this token", Answer(None, "It has ended", status=204), refuses=(411, 413))
    def post(self) -> Any:
        """Revokes the token of this call."""
        self.request.auth.delete()
        return None
