"""What somebody has been told and can put off; and for a school, what will be sent next."""

from __future__ import annotations

import datetime as dt
import uuid
import zoneinfo
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.db.models import Q, QuerySet

from syllabus.engine.errors import Fault, FaultsFound
from syllabus.engine.time.instants import in_utc
from training.models import (
    Aircraft,
    Delivery,
    DeliveryItem,
    Lapse,
    Reminder,
    ReminderOf,
    Role,
    School,
    Student,
    User,
)
from training.reports import airworthiness
from training.services import access, errors
from training.services.fleet import aircraft as fleets
from training.services.reminders import calendars, leads, notices, recipients
from training.services.reminders import due as making

#: How far ahead an administrator looks.
DAYS = 30
#: On a user's clock, when a reminder that was put off comes again if no quiet time says otherwise.
MORNING = dt.time(7)


class SnoozeError(FaultsFound):
    """A reminder cannot be put off to that day."""

    what = "what was sent"


@dataclass(frozen=True, slots=True)
class Own:
    """A reminder as one user has it."""

    reminder: Reminder
    read_at: dt.datetime | None
    snoozed_until: dt.date | None

    def as_json(self) -> dict[str, Any]:
        reminder = self.reminder
        return {
            "ref": str(reminder.ref),
            "student": (
                {"ref": str(reminder.student.ref), "name": reminder.student.name}
                if reminder.student
                else None
            ),
            "aircraft": reminder.aircraft and _aircraft(reminder.aircraft),
            "school": reminder.school.slug,
            "kind": reminder.kind,
            "says": reminder.says,
            "citations": reminder.citations,
            "last_day": reminder.last_day.isoformat(),
            "lead_days": reminder.lead_days,
            "ends": [each["title"] for each in reminder.ends],
            "made_at": in_utc(reminder.created_at),
            "read_at": self.read_at and in_utc(self.read_at),
            "snoozed_until": self.snoozed_until and self.snoozed_until.isoformat(),
        }


def _aircraft(aircraft: Aircraft) -> dict[str, str]:
    return {"registration": aircraft.registration, "model": aircraft.model}


def _of(user: User, at: dt.datetime) -> QuerySet[Reminder]:
    """The reminders that concern a user now: of oneself, of students one instructs, of one's own dates.

    Those of aircraft are everybody's who instructs at their school or administers it.
    """
    students: Any = calendars.of_user(user, at)
    fleet = Q(aircraft__isnull=False, school__in=fleets.schools(user))
    mine = Q(student__in=students) | Q(role__user=user) | fleet
    # The earliest day that it is anywhere: each is held against the day at its school below.
    return Reminder.objects.filter(
        mine, state=Reminder.State.DUE, last_day__gte=(at - dt.timedelta(hours=12)).date()
    )


def own(user: User, at: dt.datetime, *, via: str) -> list[Own]:
    """A user's reminders whose last day is not over, the most pressing first; of one lapse only the newest.

    Queries: 2. The reading of each student's is logged.
    """
    rows = _of(user, at).select_related("student", "school", "role", "aircraft")
    newest: dict[tuple[int | None, int | None, int | None, str, dt.date], Reminder] = {}
    for each in rows.order_by("last_day", "lead_days", "pk"):
        if each.last_day >= each.school.day(at):
            key = each.student_id, each.role_id, each.aircraft_id, each.what, each.last_day
            newest.setdefault(key, each)
    done = {
        each.reminder_id: each for each in ReminderOf.objects.filter(user=user, reminder__in=newest.values())
    }
    for student in {each.student for each in newest.values() if each.student}:
        access.log(user, student, access.READ, "reminders", via=via, at=at)
    return [
        Own(each, done[each.pk].read_at, done[each.pk].snoozed_until)
        if each.pk in done
        else Own(each, None, None)
        for each in newest.values()
    ]


def find(user: User, ref: uuid.UUID, at: dt.datetime) -> Reminder:
    """One of a user's reminders. Raises: NotFound, whether there is none or it is another's."""
    rows = _of(user, at).select_related("student", "school", "role", "aircraft")
    return errors.find(rows, "reminder of that reference", ref=ref)


def mark_read(user: User, reminder: Reminder, at: dt.datetime) -> Own:
    """Note that a user has read a reminder; the first time stands."""
    row, _ = ReminderOf.objects.get_or_create(
        reminder=reminder, user=user, defaults={"school_id": reminder.school_id}
    )
    if row.read_at is None:
        row.read_at = at
        row.save(update_fields=["read_at"])
        notices.reminder_read(user, reminder.ref, at)
    return Own(reminder, row.read_at, row.snoozed_until)


@transaction.atomic
def snooze(user: User, reminder: Reminder, until: dt.date, at: dt.datetime) -> Own:
    """Put one reminder off: the user is told once more on that day, and not before. Others are told as ever.

    Raises: SnoozeError where the day is not after today, or is after the last day.
    """
    today = reminder.school.day(at)
    if not today < until <= reminder.last_day:
        raise SnoozeError(
            [
                Fault(
                    "until",
                    f"{until} is not between tomorrow and the last day, {reminder.last_day}",
                )
            ]
        )
    row, _ = ReminderOf.objects.select_for_update().get_or_create(
        reminder=reminder, user=user, defaults={"school_id": reminder.school_id}
    )
    row.read_at, row.snoozed_until = row.read_at or at, until
    row.save(update_fields=["read_at", "snoozed_until"])
    notices.reminder_read(user, reminder.ref, at)
    [one] = recipients.of_users([(user, recipients.ONESELF)], reminder.school)
    if one.email:
        _again(one, reminder, until, at)
    return Own(reminder, row.read_at, row.snoozed_until)


def _again(one: recipients.Recipient, reminder: Reminder, until: dt.date, at: dt.datetime) -> None:
    """An e-mail of its own in the morning of that day, in the place of one that was put off before."""
    items = DeliveryItem.objects.filter(reminder=reminder, recipient=one.key)
    Delivery.objects.filter(items__in=items.filter(round__gt=0), state=Delivery.State.PENDING).update(
        state=Delivery.State.WITHDRAWN
    )
    turn = items.count()
    morning = dt.datetime.combine(until, MORNING, one.zone).astimezone(dt.UTC)
    delivery = Delivery.objects.create(
        school_id=reminder.school_id,
        kind=Delivery.Kind.REMINDER,
        key=f"reminder:{reminder.ref}:{one.key}:{turn}",
        student=reminder.student,
        user=one.user,
        send_after=one.from_then(morning),
        created_at=at,
    )
    DeliveryItem.objects.create(
        school_id=reminder.school_id, delivery=delivery, reminder=reminder, recipient=one.key, round=turn
    )


@dataclass(frozen=True, slots=True)
class Coming:
    """A reminder that will be made: on ``day`` at the school, ``lead`` days before ``last_day``."""

    day: dt.date
    lead: int
    last_day: dt.date
    kind: str
    says: str
    citations: tuple[str, ...]
    student: Student | None
    instructor: User | None
    aircraft: Aircraft | None = None

    def as_json(self) -> dict[str, Any]:
        return {
            "on": self.day.isoformat(),
            "lead_days": self.lead,
            "last_day": self.last_day.isoformat(),
            "kind": self.kind,
            "says": self.says,
            "citations": list(self.citations),
            "student": self.student and {"ref": str(self.student.ref), "name": self.student.name},
            "instructor": self.instructor and str(self.instructor),
            "aircraft": self.aircraft and _aircraft(self.aircraft),
        }


def of_school(school: School, at: dt.datetime, days: int = DAYS) -> list[Coming]:
    """What will be sent in the days to come, as the records stand, in order of the day; today's included.

    What is due already and not made yet stands under today. Queries: 5, whatever the size.
    """
    today = school.day(at)
    end, zone, lead_times = today + dt.timedelta(days=days), _zone(school), leads.of_school(school)
    longest = max((max(each, default=0) for each in lead_times.values()), default=0)
    rows = list(
        Lapse.objects.filter(
            school=school,
            gone_at__isnull=True,
            due_at__isnull=False,
            last_day__gte=today,
            last_day__lte=end + dt.timedelta(days=longest),
        ).select_related("student")
    )
    found = list(_of_lapses(rows, lead_times, zone, today, end, at))
    found += _of_roles(school, lead_times[leads.RECENT_EXPERIENCE], zone, today, end, at)
    found += _of_aircraft(school, lead_times[leads.AIRCRAFT], zone, today, end, at)
    return sorted(found, key=lambda each: (each.day, each.last_day, each.says))


def _zone(school: School) -> zoneinfo.ZoneInfo:
    return zoneinfo.ZoneInfo(school.time_zone)


def _of_lapses(
    rows: list[Lapse],
    lead_times: dict[str, tuple[int, ...]],
    zone: dt.tzinfo,
    today: dt.date,
    end: dt.date,
    at: dt.datetime,
) -> Iterator[Coming]:
    for lapse in rows:
        every = leads.dues(lapse.first_day, lapse.last_day, lead_times.get(lapse.kind, ()), zone)
        for due in every:
            waits = lapse.due_lead == due.lead
            if due.day <= end and (due.at > at or waits):
                yield Coming(
                    max(due.day, today), due.lead, lapse.last_day, lapse.kind, lapse.says,
                    tuple(lapse.citations), lapse.student, None,
                )  # fmt: skip


def _of_roles(
    school: School,
    lead_times: tuple[int, ...],
    zone: dt.tzinfo,
    today: dt.date,
    end: dt.date,
    at: dt.datetime,
) -> Iterator[Coming]:
    dated = Role.objects.filter(
        school=school, role=Role.Kind.INSTRUCTOR, recent_experience_until__gte=today, user__is_active=True
    ).select_related("user", "school")
    for role in dated:
        last = role.recent_experience_until
        assert last is not None
        for each in leads.dues(None, last, lead_times, zone):
            if each.at > at and each.day <= end:
                yield Coming(
                    each.day, each.lead, last, leads.RECENT_EXPERIENCE, making.RECENT_EXPERIENCE_SAYS,
                    (making.recent_experience_citation(role),), None, role.user,
                )  # fmt: skip


def _of_aircraft(
    school: School,
    lead_times: tuple[int, ...],
    zone: dt.tzinfo,
    today: dt.date,
    end: dt.date,
    at: dt.datetime,
) -> Iterator[Coming]:
    for held in airworthiness.held([school], today):
        if held.last < today:
            continue
        for each in leads.dues(held.check.done, held.last, lead_times, zone):
            if each.at > at and each.day <= end:
                yield Coming(
                    each.day, each.lead, held.last, leads.AIRCRAFT, held.says,
                    (held.version.cite.section,), None, None, held.check.aircraft,
                )  # fmt: skip
