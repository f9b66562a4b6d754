"""Who may see an instructor's own record, and the log of who did."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db.models import Q, QuerySet

from training.models import AccessLog, Role, User
from training.reports import own_record as reports


def seen(user: User) -> QuerySet[Role]:
    """The instructors whose own record a user may see: oneself, and those of schools one administers."""
    if not user.is_active:
        return Role.objects.none()
    mine = Role.objects.filter(user=user, role=Role.Kind.ADMINISTRATOR).values("school")
    return (
        Role.objects.filter(Q(user=user) | Q(school__in=mine), role=Role.Kind.INSTRUCTOR)
        .select_related("user", "school")
        .order_by("school__slug", "user__name", "pk")
    )


def own_record(user: User, role: int, *, on: dt.date | None, at: dt.datetime, via: str) -> reports.OwnRecord:
    """An instructor's own record as of a day, by default today at the school.

    Raises: Role.DoesNotExist, whether there is none or the user may not know of it.
    Effects: the reading is logged for each student in it.
    """
    found = seen(user).get(pk=role)
    kept = reports.own_record(found, on or found.school.day(at))
    AccessLog.objects.bulk_create(
        AccessLog(
            school_id=found.school_id,
            student_id=student,
            user=user,
            action=AccessLog.Action.READ,
            what="an instructor's own record",
            via=via,
            at=at,
        )
        for student in sorted({line.student.pk for line in kept.lines})
    )
    return kept


def as_json(role: Role) -> dict[str, Any]:
    """An instructor in a line."""
    until = role.recent_experience_until
    return {
        "id": role.pk,
        "name": str(role.user),
        "school": role.school.slug,
        "certificate": role.certificate,
        "recent_experience_until": until and until.isoformat(),
    }
