"""How long a user stays signed in: until idle for a while, and at most a working day.

Django ends a session at the moment that it was saved with. Each request moves that moment on, but
not beyond the limit since the sign-in.
"""

import time
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.contrib.auth.signals import user_logged_in
from django.contrib.sessions.backends.base import SessionBase
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse

BEGAN, SEEN = "began", "seen"
#: Seconds after which a session is saved again; a row for every request would cost more than it says.
_COARSE = 60


@receiver(user_logged_in)
def begin(request: HttpRequest, **_: Any) -> None:
    """The clock starts with the sign-in, whichever way that was."""
    request.session[BEGAN] = time.time()
    _extend(request.session)


class Activity:
    """Middleware, inside the one of sessions: a request that reads the session is a sign of somebody."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        session = request.session
        if session.accessed and SESSION_KEY in session and time.time() - session.get(SEEN, 0) >= _COARSE:
            _extend(session)
        return response


def _extend(session: SessionBase) -> None:
    now = time.time()
    left = session.setdefault(BEGAN, now) + settings.SESSION_LASTS - now
    session[SEEN] = now
    session.set_expiry(max(1, int(min(settings.SESSION_COOKIE_AGE, left))))
