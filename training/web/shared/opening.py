"""Access to the administrator's pages: the school in the URL, or a 404."""

import datetime as dt
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any

from allauth.account.decorators import reauthentication_required
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from syllabus.engine.rules.report import CAUTION
from training.models import Role, School, Student, User
from training.services import access


class SignedIn(HttpRequest):
    """A request of a signed-in user."""

    user: User  # type: ignore[assignment]


@dataclass(frozen=True)
class Opened:
    """A school with its administrator and the time of the request."""

    request: HttpRequest
    school: School
    user: User
    at: dt.datetime

    @property
    def acting(self) -> access.Acting:
        return {"by": self.user, "at": self.at, "via": "web"}

    @property
    def today(self) -> dt.date:
        return self.school.day(self.at)

    def page(self, name: str, here: str, *, status: int = 200, **told: Any) -> HttpResponse:
        """Render ``training/school/<name>.html``; ``here`` marks the page's menu entry."""
        known = {"school": self.school, "here": here, "caution": CAUTION, **told}
        return render(self.request, f"training/school/{name}.html", known, status=status)

    def done(self, said: str, name: str, *args: Any) -> HttpResponse:
        """Redirect to one of the school's pages, with a message."""
        messages.success(self.request, said)
        return redirect(name, self.school.slug, *args)

    def student(self, ref: uuid.UUID, what: str, action: str = access.READ) -> Student:
        """One of the school's students; the access is logged. Raises: Http404."""
        found = get_object_or_404(Student, school=self.school, ref=ref)
        found.school = self.school
        access.log(self.user, found, action, what, via="web", at=self.at)
        return found


View = Callable[..., HttpResponseBase]


def show(
    request: HttpRequest, template: str, told: dict[str, Any], status: int | None = None
) -> HttpResponse:
    """A page about records, with the caution at its foot."""
    return render(request, template, {**told, "caution": CAUTION}, status=status)


def signed_in(*methods: str) -> Callable[[View], View]:
    """A view for signed-in users with these methods, never cached; GET includes HEAD."""
    allowed = [*methods, *(["HEAD"] if "GET" in methods else [])]
    return lambda view: require_http_methods(allowed)(never_cache(login_required(view)))


def administered(*methods: str) -> Callable[[View], View]:
    """Pass the school in the URL to the view if the user administers it; else 404."""

    def decorated(view: View) -> View:
        @signed_in(*methods)
        @wraps(view)
        def opened(request: SignedIn, school: str, **more: Any) -> HttpResponseBase:
            instructs = access.holding(request.user.pk, Role.Kind.INSTRUCTOR)
            found = get_object_or_404(access.schools(request.user).annotate(instructs=instructs), slug=school)
            held = [Role.Kind.ADMINISTRATOR, *([Role.Kind.INSTRUCTOR] if found.instructs else [])]  # type: ignore[attr-defined]
            request.user.kinds_of_role = frozenset(held)  # the header asks for them: no query more
            return view(Opened(request, found, request.user, timezone.now()), **more)

        return opened

    return decorated


def asked_anew(opened: Opened, answer: Callable[[], HttpResponse]) -> HttpResponse:
    """The view's response after re-authentication; before it, the page that asks for it."""

    @reauthentication_required
    def shown(_: HttpRequest) -> HttpResponse:
        return answer()

    found: HttpResponse = shown(opened.request)
    return found


@signed_in("GET")
def schools(request: SignedIn) -> HttpResponse:
    """Redirect to the user's school; with several, let the user choose."""
    found = list(access.schools(request.user).order_by("name"))
    if not found:
        raise Http404("no school that you administer")
    if len(found) == 1:
        return redirect("school", found[0].slug)
    return render(request, "training/school/schools.html", {"schools": found, "caution": CAUTION})
