"""What a page makes of what a service refuses: one translation for all pages.

Whatever a view lets through becomes the page "not found" or "no access"; a view shows the rest in ``words``.
"""

from collections.abc import Callable
from operator import attrgetter

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse

from syllabus.engine.errors import Error, InputError
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


def words(problem: Refused | InputError, say: Callable[[Error], str] = attrgetter("message")) -> list[str]:
    """What a page says about it: one sentence, or one for each fault of what was sent."""
    return [say(each) for each in problem.faults] if isinstance(problem, InputError) else [str(problem)]
