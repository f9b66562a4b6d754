"""Turns the services' exceptions into responses and messages, for all pages.

An exception that a view does not catch becomes "not found" or "no access"; views show others with ``words``.
"""

from collections.abc import Callable
from operator import attrgetter

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse

from syllabus.engine.errors import Error, InputError
from training.services.errors import NotAllowed, NotFound, Refused


class Refusals:
    """Middleware: handle the services' exceptions like Django's own of the same meaning."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> None:
        if isinstance(exception, NotFound):
            raise Http404(str(exception)) from exception
        if isinstance(exception, NotAllowed):
            raise PermissionDenied(str(exception)) from exception


def words(problem: Refused | InputError, say: Callable[[Error], str] = attrgetter("message")) -> list[str]:
    """The message for a page: one sentence, or one for each error in the input."""
    return [say(each) for each in problem.errors] if isinstance(problem, InputError) else [str(problem)]
