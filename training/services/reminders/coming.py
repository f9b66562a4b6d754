"""A user's reminders, which can be snoozed; and the upcoming reminders of a school."""

import datetime as dt
import uuid
import zoneinfo
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.db.models import Q, QuerySet

from syllabus.engine.errors import InputError
from training import models
from training.reports import airworthiness
from training.services import access, errors
from training.services.fleet import aircraft as fleets
from training.services.reminders import calendars, leads, notices, recipients
from training.services.reminders import due as making

#: How many days ahead an administrator sees.
DAYS = 30
#: The time on a user's clock at which a snoozed reminder returns, unless quiet hours say otherwise.
MORNING = dt.time(7)


class SnoozeError(InputError):
    """A reminder cannot be put off to that day."""

    what = "what was sent"


@dataclass(frozen=True, slots=True)
class Own:
    """A reminder as one user has it."""

    reminder: models.Reminder
    read_at: dt.datetime | None
    snoozed_until: dt.date | None


def _of(user: models.User, at: dt.datetime) -> QuerySet[models.Reminder]:
    """A user's current reminders: of oneself, of one's students, of one's own dates.

    Everybody who instructs at a school or administers it gets those of its aircraft.
    """
    students: Any = calendars.of_user(user, at)
    fleet = Q(aircraft__isnull=False, school__in=fleets.schools(user))
    mine = Q(student__in=students) | Q(role__user=user) | fleet
    # The earliest day anywhere; each reminder is compared with the day at its school below.
    return models.Reminder.objects.filter(
        mine, state=models.Reminder.State.DUE, last_day__gte=(at - dt.timedelta(hours=12)).date()
    )


def own(user: models.User, at: dt.datetime, *, via: str) -> list[Own]:
    """A user's reminders that have not expired, most urgent first; for one expiration only the newest.

    Queries: 2. The reading is logged for each student.
    """
    rows = _of(user, at).select_related("student", "school", "role", "aircraft")
    newest: dict[tuple[int | None, int | None, int | None, str, dt.date], models.Reminder] = {}
    for each in rows.order_by("last_day", "lead_days", "pk"):
        if each.last_day >= each.school.day(at):
            key = each.student_id, each.role_id, each.aircraft_id, each.what, each.last_day
            newest.setdefault(key, each)
    done = {
        each.reminder_id: each
        for each in models.ReminderOf.objects.filter(user=user, reminder__in=newest.values())
    }
    for student in {each.student for each in newest.values() if each.student}:
        access.log(user, student, access.READ, "reminders", via=via, at=at)
    return [
        Own(each, done[each.pk].read_at, done[each.pk].snoozed_until)
        if each.pk in done
        else Own(each, None, None)
        for each in newest.values()
    ]


def find(user: models.User, ref: uuid.UUID, at: dt.datetime) -> models.Reminder:
    """One of a user's reminders. Raises: NotFound, also if it is another user's."""
    rows = _of(user, at).select_related("student", "school", "role", "aircraft")
    return errors.find(rows, "reminder of that reference", ref=ref)


def mark_read(user: models.User, reminder: models.Reminder, at: dt.datetime) -> Own:
    """Mark a reminder as read; the first time counts."""
    row, _ = models.ReminderOf.objects.get_or_create(
        reminder=reminder, user=user, defaults={"school_id": reminder.school_id}
    )
    if row.read_at is None:
        row.read_at = at
        row.save(update_fields=["read_at"])
        notices.reminder_read(user, reminder.ref, at)
    return Own(reminder, row.read_at, row.snoozed_until)


@transaction.atomic
def snooze(user: models.User, reminder: models.Reminder, until: dt.date, at: dt.datetime) -> Own:
    """Snooze one reminder until a day. Other recipients are not affected.

    Raises: SnoozeError if the day is not after today, or is after the last day.
    """
    today = reminder.school.day(at)
    if not today < until <= reminder.last_day:
        raise SnoozeError.at(
            "until", f"{until} is not between tomorrow and the last day, {reminder.last_day}"
        )
    row, _ = models.ReminderOf.objects.select_for_update(no_key=True).get_or_create(
        reminder=reminder, user=user, defaults={"school_id": reminder.school_id}
    )
    row.read_at, row.snoozed_until = row.read_at or at, until
    row.save(update_fields=["read_at", "snoozed_until"])
    notices.reminder_read(user, reminder.ref, at)
    [one] = recipients.of_users([(user, recipients.ONESELF)], reminder.school)
    if one.email:
        _again(one, reminder, until, at)
    return Own(reminder, row.read_at, row.snoozed_until)


def _again(one: recipients.Recipient, reminder: models.Reminder, until: dt.date, at: dt.datetime) -> None:
    """Queue an e-mail for the morning of that day; it replaces that of an earlier snooze."""
    items = models.DeliveryItem.objects.filter(reminder=reminder, recipient=one.key)
    models.Delivery.objects.filter(
        items__in=items.filter(round__gt=0), state=models.Delivery.State.PENDING
    ).update(state=models.Delivery.State.WITHDRAWN)
    turn = items.count()
    morning = dt.datetime.combine(until, MORNING, one.zone).astimezone(dt.UTC)
    delivery = models.Delivery.objects.create(
        school_id=reminder.school_id,
        kind=models.Delivery.Kind.REMINDER,
        key=f"reminder:{reminder.ref}:{one.key}:{turn}",
        student=reminder.student,
        user=one.user,
        send_after=one.from_then(morning),
        created_at=at,
    )
    models.DeliveryItem.objects.create(
        school_id=reminder.school_id, delivery=delivery, reminder=reminder, recipient=one.key, round=turn
    )


@dataclass(frozen=True, slots=True)
class Coming:
    """An upcoming reminder: on ``day`` at the school, ``lead`` days before ``last_day``."""

    day: dt.date
    lead: int
    last_day: dt.date
    kind: str
    says: str
    citations: tuple[str, ...]
    student: models.Student | None
    instructor: models.User | None
    aircraft: models.Aircraft | None = None


@dataclass(frozen=True)
class _Ahead:
    """The coming days at a school, with its lead times."""

    school: models.School
    at: dt.datetime
    today: dt.date
    end: dt.date
    lead_times: dict[str, tuple[int, ...]]

    def dues(
        self, kind: str, first: dt.date | None, last: dt.date, waits: int | None = None
    ) -> Iterator[leads.Due]:
        """The reminders of one thing that fall due in these days, and a late one of lead time ``waits``."""
        zone = zoneinfo.ZoneInfo(self.school.time_zone)
        for due in leads.dues(first, last, self.lead_times.get(kind, ()), zone):
            if due.day <= self.end and (due.at > self.at or due.lead == waits):
                yield due


def of_school(school: models.School, at: dt.datetime, days: int = DAYS) -> list[Coming]:
    """What will be sent in the coming days, by the current records, sorted by day; includes today.

    Reminders that are due but not made yet are listed today. Queries: 5, whatever the size.
    """
    today = school.day(at)
    ahead = _Ahead(school, at, today, today + dt.timedelta(days=days), leads.of_school(school))
    found = [*_of_lapses(ahead), *_of_roles(ahead), *_of_aircraft(ahead)]
    return sorted(found, key=lambda each: (each.day, each.last_day, each.says))


def _of_lapses(ahead: _Ahead) -> Iterator[Coming]:
    longest = max((max(each, default=0) for each in ahead.lead_times.values()), default=0)
    rows = models.Lapse.objects.filter(
        school=ahead.school,
        gone_at__isnull=True,
        due_at__isnull=False,
        last_day__range=(ahead.today, ahead.end + dt.timedelta(days=longest)),
    )
    for lapse in rows.select_related("student"):
        said = lapse.last_day, lapse.kind, lapse.says, tuple(lapse.citations), lapse.student, None
        for due in ahead.dues(lapse.kind, lapse.first_day, lapse.last_day, lapse.due_lead):
            yield Coming(max(due.day, ahead.today), due.lead, *said)


def _of_roles(ahead: _Ahead) -> Iterator[Coming]:
    dated = models.Role.objects.filter(
        school=ahead.school,
        role=models.Role.Kind.INSTRUCTOR,
        recent_experience_until__gte=ahead.today,
        user__is_active=True,
    )
    for role in dated.select_related("user", "school"):
        last = role.recent_experience_until
        assert last is not None
        cited = (making.recent_experience_citation(role),)
        said = last, leads.RECENT_EXPERIENCE, making.RECENT_EXPERIENCE_SAYS, cited, None, role.user
        for due in ahead.dues(leads.RECENT_EXPERIENCE, None, last):
            yield Coming(due.day, due.lead, *said)


def _of_aircraft(ahead: _Ahead) -> Iterator[Coming]:
    for held in airworthiness.held([ahead.school], ahead.today):
        if held.last < ahead.today:
            continue
        cited, craft = (held.version.cite.section,), held.check.aircraft
        said = held.last, leads.AIRCRAFT, held.says, cited, None, None, craft
        for due in ahead.dues(leads.AIRCRAFT, held.check.done, held.last):
            yield Coming(due.day, due.lead, *said)
