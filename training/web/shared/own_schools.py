"""A request is shown the rows of the schools of who asks, and no others (``services.row_scope``)."""

from collections.abc import Callable
from typing import Any

from django.contrib.auth.signals import user_logged_in, user_logged_out
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse
from django.utils.functional import SimpleLazyObject

from training.models import User
from training.services import row_scope


class OwnSchools:
    """Middleware, after the one that knows the user. The user is looked up no sooner than somebody asks."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        row_scope.nothing()
        whose = request.user

        def known() -> Any:
            row_scope.of(whose.pk)
            # The admin site is for those who look after every school; it shows no record.
            if request.resolver_match and request.resolver_match.app_name == "admin" and whose.is_staff:
                row_scope.everything()
            return whose

        request.user = SimpleLazyObject(known)  # type: ignore[assignment]
        return self.get_response(request)


@receiver(user_logged_in)
def _signed_in(user: User, **_: Any) -> None:
    row_scope.of(user.pk)


@receiver(user_logged_out)
def _signed_out(**_: Any) -> None:
    row_scope.nothing()
