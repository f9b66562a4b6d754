"""Access to the instructor's pages: the student and lesson in the URL, or a 404."""

import datetime as dt
import uuid
import zoneinfo
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property, wraps
from typing import Any

from django.db.models import OuterRef, Subquery
from django.http import Http404
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404
from django.utils import timezone

from training.models import Aircraft, LessonRecord, Role, Student, User
from training.services import access
from training.services.fleet import groundings
from training.services.lessons import lesson_plans, lesson_records
from training.web.school.groundings import shown
from training.web.shared.opening import SignedIn, View, signed_in


def teaches(user: Any) -> bool:
    """Whether the user is an instructor at any school. The query of ``access.roles``, or none."""
    return Role.Kind.INSTRUCTOR in access.roles(user)


#: Aircraft by registration, in capitals.
Fleet = dict[str, dict[str, str]]


@dataclass(frozen=True)
class Taught:
    """A student with the instructor and the time of the request."""

    student: Student
    user: User
    at: dt.datetime
    #: The certificate with which the instructor signs at the student's school; empty if none is recorded.
    certificate: str = ""
    #: Aircraft already read, by the school's primary key.
    fleets: dict[int, Fleet] = field(default_factory=dict)

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        return zoneinfo.ZoneInfo(self.student.school.time_zone)

    @property
    def acting(self) -> access.Acting:
        return {"by": self.user, "at": self.at, "via": "web"}

    @property
    def today(self) -> dt.date:
        return self.student.school.day(self.at)

    @property
    def fleet(self) -> Fleet:
        """The school's aircraft by registration, in the sheet's terms. One query per school."""
        school = self.student.school_id
        if school not in self.fleets:
            self.fleets[school] = self._fleet(school)
        return self.fleets[school]

    @property
    def groundings(self) -> dict[str, str]:
        """What grounds each of the school's aircraft, by registration as recorded. One query."""
        found: dict[str, str] = {}
        for rows in groundings.open_at(self.student.school_id).values():
            found[rows[0].aircraft.registration] = "; ".join(shown(rows))
        return found

    def _fleet(self, school: int) -> Fleet:
        rows = Aircraft.objects.filter(school_id=school)
        return {
            each.registration.upper(): {
                "registration": each.registration,
                "model": each.model,
                "category": each.category,
                "class": each.klass,
                "device": each.device,
            }
            for each in rows
        }

    @cached_property
    def last_flight(self) -> dict[str, Any]:
        """What a new sheet starts from."""
        return lesson_plans.last_flight(self.student, self.user)

    def log(self, action: str, what: str) -> None:
        access.log(self.user, self.student, action, what, via="web", at=self.at)

    def lesson(self, entry: uuid.UUID) -> LessonRecord:
        """One of the student's lessons. Raises: Http404."""
        found = get_object_or_404(
            lesson_records.visible(self.student, self.user, on=self.at.date()), pk=entry
        )
        found.student = self.student
        return found


def taught(*methods: str) -> Callable[[View], View]:
    """Pass the student in the URL to the view if the instructor may write the record; else 404."""

    def decorated(view: View) -> View:
        @signed_in(*methods)
        @wraps(view)
        def opened(request: SignedIn, ref: uuid.UUID, **more: Any) -> HttpResponseBase:
            at = timezone.now()
            seen = access.visible_students(request.user, access.WRITE, on=at.date())
            roles = Role.objects.filter(
                user=request.user, role=Role.Kind.INSTRUCTOR, school=OuterRef("school")
            ).values("certificate")
            administers = access.holding(request.user.pk, Role.Kind.ADMINISTRATOR)
            found = seen.select_related("school").annotate(
                signs_with=Subquery(roles[:1]), administers=administers
            )
            student = found.filter(ref=ref, signs_with__isnull=False).first()
            if student is None:
                raise Http404("no student of that reference whose lessons you may write")
            held = [Role.Kind.INSTRUCTOR, *([Role.Kind.ADMINISTRATOR] if student.administers else [])]
            request.user.kinds_of_role = frozenset(held)  # the header asks for them: no query more
            return view(request, Taught(student, request.user, at, student.signs_with), **more)

        return opened

    return decorated
