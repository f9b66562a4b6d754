"""What failed and needs attention; administrators of the school see it."""

from typing import Any

from syllabus.engine.time.instants import in_utc
from training.models import Delivery, School, Stale, Student

#: The metrics count more; this many are listed.
MOST = 100


def address(delivery: Delivery) -> str:
    """Where an e-mail goes."""
    person = delivery.user or delivery.guardian
    return delivery.to or (person.email if person else "")


def deliveries(school: School) -> list[dict[str, Any]]:
    """The failed e-mails of a school, newest first."""
    rows = Delivery.objects.filter(school=school, state=Delivery.State.FAILED).select_related(
        "user", "guardian"
    )
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
