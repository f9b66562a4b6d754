"""What a page makes of what a service refuses: one translation for all pages.

Whatever a view lets through becomes the page "not found" or "no access". A form shows the rest beside its
fields, by ``into``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse

from syllabus.engine.errors import FaultsFound
from syllabus.engine.reading import Faults
from training.services.errors import NotAllowed, NotFound, Refused


class Refusals:
    """Middleware: Django answers what a service refuses as it answers its own exceptions of that meaning."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> None:
        if isinstance(exception, NotFound):
            raise Http404(str(exception)) from exception
        if isinstance(exception, NotAllowed):
            raise PermissionDenied(str(exception)) from exception


@contextmanager
def into(faults: Faults, place: str = "") -> Iterator[None]:
    """Add what a service refuses to the faults of a form: errors of input at their fields, else ``place``."""
    try:
        yield
    except FaultsFound as wrong:
        faults.extend(wrong.faults)
    except Refused as refused:
        faults.add(place, str(refused))
