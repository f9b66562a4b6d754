"""Access to an instructor's own record, and its log."""

import datetime as dt

from django.db.models import Q, QuerySet

from training.models import Role, User
from training.reports import own_record as reports
from training.services import access
from training.services.errors import find


def seen(user: User) -> QuerySet[Role]:
    """The instructors whose own record a user may see: oneself, and those of schools one administers."""
    if not user.is_active:
        return Role.objects.none()
    mine = access.schools(user)
    return (
        Role.objects.filter(Q(user=user) | Q(school__in=mine), role=Role.Kind.INSTRUCTOR)
        .select_related("user", "school")
        .order_by("school__slug", "user__name", "pk")
    )


def own_record(user: User, role: int, *, on: dt.date | None, at: dt.datetime, via: str) -> reports.OwnRecord:
    """An instructor's own record as of a day, by default today at the school.

    Raises: NotFound, whether there is none or the user must not know of it.
    Effects: the reading is logged for each student in it.
    """
    found = find(seen(user), "instructor of that id", pk=role)
    kept = reports.own_record(found, on or found.school.day(at))
    named = dict.fromkeys(sorted({line.student.pk for line in kept.lines}), found.school_id)
    access.log_each(user, named, access.READ, "an instructor's own record", via=via, at=at)
    return kept
