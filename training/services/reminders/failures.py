"""What failed and needs attention; administrators of the school see it."""

import datetime as dt
import uuid
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Min, Q, QuerySet

from syllabus.engine.time.instants import in_utc
from training.models import Delivery, Role, School, Stale, Student
from training.services.errors import NotFound

#: The metrics count more; this many are listed.
MOST = 100


@dataclass(frozen=True, slots=True)
class Queue:
    """E-mails that are due: how many, the seconds that the oldest has waited; how many failed."""

    waiting: int
    oldest_seconds: int
    failed: int


def of_school(school: School) -> QuerySet[Delivery]:
    """A school's e-mails: its own, and those about accounts of the people who have a role there."""
    people = Role.objects.filter(school=school).values("user")
    return Delivery.objects.filter(Q(school=school) | Q(school=None, user__in=people))


def queue(at: dt.datetime, mails: QuerySet[Delivery] | None = None) -> Queue:
    """How the outbox does; one query. An e-mail that a failed try put off has waited since it was made."""
    due, tried = Q(state=Delivery.State.PENDING, send_after__lte=at), Q(attempts__gt=0)
    put_off = Q(state=Delivery.State.PENDING) & tried
    found = (Delivery.objects.all() if mails is None else mails).aggregate(
        waiting=Count("pk", filter=due | put_off),
        failed=Count("pk", filter=Q(state=Delivery.State.FAILED)),
        new=Min("send_after", filter=due & ~tried),
        old=Min("created_at", filter=put_off),
    )
    since = min(filter(None, (found["new"], found["old"])), default=at)
    return Queue(found["waiting"], int((at - since).total_seconds()), found["failed"])


def retry(mails: QuerySet[Delivery], at: dt.datetime, which: uuid.UUID | None = None) -> int:
    """Let failed e-mails wait to be sent again: all, or one; how many. Raises: NotFound where it is none."""
    failed = mails.filter(state=Delivery.State.FAILED, **({} if which is None else {"pk": which}))
    number = failed.update(state=Delivery.State.PENDING, attempts=0, send_after=at)
    if which is not None and not number:
        raise NotFound("failed e-mail")
    return number


def address(delivery: Delivery) -> str:
    """Where an e-mail goes."""
    person = delivery.user or delivery.guardian
    return delivery.to or (person.email if person else "")


def deliveries(school: School, state: str = Delivery.State.FAILED) -> list[dict[str, Any]]:
    """The e-mails of a school that failed, or those that wait after an error, newest first."""
    rows = of_school(school).filter(state=state).select_related("user", "guardian")
    if state == Delivery.State.PENDING:
        rows = rows.exclude(fault="")
    return [
        {
            "id": str(each.pk),
            "kind": each.kind,
            "to": address(each),
            "attempts": each.attempts,
            "fault": each.fault,
            "made_at": in_utc(each.created_at),
        }
        for each in rows.order_by("-created_at")[:MOST]
    ]


def records(school: School) -> list[dict[str, Any]]:
    """The students of a school whose record could not be calculated, so that nobody gets reminders."""
    rows = list(Stale.objects.filter(school=school, parked_at__isnull=False).order_by("student_id")[:MOST])
    students = Student.objects.in_bulk([each.student_id for each in rows])
    return [
        {
            "student": {"ref": str(students[each.student_id].ref), "name": students[each.student_id].name},
            "attempts": each.attempts,
            "fault": each.fault,
        }
        for each in rows
        if each.student_id in students
    ]
