"""Notices inside the program: a user's own, and marking them as read."""

import datetime as dt
import uuid

from django.db import transaction
from django.db.models import Q, QuerySet

from training.models import Notice, User
from training.services import access
from training.services.errors import find


def told(user: User, on: dt.date) -> QuerySet[Notice]:
    """A user's notices of every kind, about students whom the user may still see on a day.

    A notice from before the student had an account belongs to the student once there is one.
    """
    theirs = Q(user=user) | Q(user__isnull=True, student__user=user)
    seen = access.visible_students(user, on=on)
    return Notice.objects.filter(theirs, student__in=seen.values("pk")).select_related("student")


@transaction.atomic
def mark_read(user: User, notice: int, at: dt.datetime) -> Notice:
    """Mark a notice as read; the first time counts.

    Raises: NotFound, also if it is another user's.
    """
    found = find(
        told(user, at.date()).select_for_update(of=("self",), no_key=True), "notice of that id", pk=notice
    )
    if found.read_at is None:
        found.read_at = at
        found.save(update_fields=["read_at"])
    return found


def of_reminder(ref: uuid.UUID, user: User) -> str:
    """The reference in a reminder's notice: the reminder with its reader."""
    return f"{ref}/{user.pk}"


def reminder_read(user: User, ref: uuid.UUID, at: dt.datetime) -> None:
    """Whoever reads or snoozes a reminder has read its notice."""
    mine = Notice.objects.filter(kind=Notice.Kind.REMINDER, about=of_reminder(ref, user))
    mine.filter(read_at__isnull=True).update(read_at=at)
