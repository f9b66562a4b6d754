"""Send a browser on this machine to the address by which passkeys work."""

from collections.abc import Callable
from urllib.parse import urlsplit

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect

#: A passkey needs a name; browsers refuse one for a number. ``localhost`` names the same machine.
NAME, NUMBER = "localhost", "127.0.0.1"


class ByName:
    """Middleware: a page requested as 127.0.0.1 moves to ``localhost`` if that is this server's address.

    Only for pages that a browser opens: programs keep the number, and another port may be another server.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        own = urlsplit(settings.PUBLIC_ADDRESS)
        by_number = own.hostname == NAME and request.get_host() == f"{NUMBER}:{own.port}"
        if by_number and request.method == "GET" and "text/html" in request.headers.get("Accept", ""):
            return HttpResponseRedirect(f"{settings.PUBLIC_ADDRESS}{request.get_full_path()}")
        return self.get_response(request)
