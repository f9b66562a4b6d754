"""How many calls somebody may make in a minute, counted for all workers together."""

from collections.abc import Iterable
from typing import Any, ClassVar

from django.db import InterfaceError, OperationalError
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from training.services import limits


class Throttle(BaseThrottle):
    """At most ``most`` calls in ``seconds``, of an account wherever it calls from, or else of an address."""

    scope: ClassVar[str]
    most: ClassVar[int]
    seconds: ClassVar[int] = 60

    def callers(self, request: Request) -> Iterable[str]:
        """Whose calls are counted together; each is counted."""
        return [str(request.user.pk) if request.user.is_authenticated else limits.network(request)]

    def count(self, request: Request, by: int = 1) -> bool:
        """Count a call, or its further cost; returns whether that is within the limit."""
        keys = [f"{self.scope}:{caller}" for caller in self.callers(request)]
        try:
            return max([limits.count(key, self.seconds, by) for key in keys], default=0) <= self.most
        except (OperationalError, InterfaceError):  # the call says so itself where it needs the database
            return True

    def allow_request(self, request: Request, view: Any) -> bool:
        return self.count(request)

    def wait(self) -> float:
        return float(self.seconds)


class OpenThrottle(Throttle):
    """Of calls that anybody may make."""

    scope = "open"
    most = 300


class ConfirmThrottle(Throttle):
    """Of calls with a password."""

    scope = "confirm"
    most = 30
