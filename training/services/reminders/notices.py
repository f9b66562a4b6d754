"""What somebody is told inside the program: their own notices, and marking one as read."""

import datetime as dt
import uuid

from django.db import transaction
from django.db.models import Q, QuerySet

from training.models import Notice, User
from training.services import access
from training.services.errors import find


def told(user: User, on: dt.date) -> QuerySet[Notice]:
    """The notices that are for a user, of whatever kind, about students whom they may still see on a day.

    One that was written before the student had an account is the student's from then on.
    """
    theirs = Q(user=user) | Q(user__isnull=True, student__user=user)
    seen = access.visible_students(user, on=on)
    return Notice.objects.filter(theirs, student__in=seen.values("pk")).select_related("student")


@transaction.atomic
def mark_read(user: User, notice: int, at: dt.datetime) -> Notice:
    """Note that a notice was read; again, the first time stays.

    Raises: NotFound, whether there is none or it is somebody else's.
    """
    found = find(told(user, at.date()).select_for_update(of=("self",)), "notice of that id", pk=notice)
    if found.read_at is None:
        found.read_at = at
        found.save(update_fields=["read_at"])
    return found


def of_reminder(ref: uuid.UUID, user: User) -> str:
    """What the notice of a reminder says it is about: the reminder with its reader."""
    return f"{ref}/{user.pk}"


def reminder_read(user: User, ref: uuid.UUID, at: dt.datetime) -> None:
    """Whoever has read a reminder, or put it off, has read its notice."""
    mine = Notice.objects.filter(kind=Notice.Kind.REMINDER, about=of_reminder(ref, user))
    mine.filter(read_at__isnull=True).update(read_at=at)
