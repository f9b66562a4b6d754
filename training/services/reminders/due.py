"""Makes the reminders that fall due: each row once, with its deliveries, in one transaction."""

import datetime as dt
import uuid
import zoneinfo
from collections.abc import Iterable
from typing import Any

from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext_noop

from training.models import (
    Delivery,
    DeliveryItem,
    Enrolment,
    Lapse,
    Notice,
    Reminder,
    Role,
    School,
    Student,
)
from training.reports import instructing
from training.services import access
from training.services.reminders import leads, notices, recipients
from training.services.reminders.recipients import Recipient

#: When on the administrator's clock the day's digest goes out.
DIGEST_AT = dt.time(8)
#: A digest that is about to go out gets no more reminders.
CLOSED_BEFORE = dt.timedelta(minutes=5)
#: The name of an instructor's recent experience in a reminder.
RECENT_EXPERIENCE_SAYS = gettext_noop("The instructor's recent experience, as the school recorded it")


def recent_experience_citation(role: Role) -> str:
    """The citation of the rule that says how long recent experience lasts, as in force on its last day."""
    assert role.recent_experience_until is not None
    return instructing.rule("recent-experience", role.recent_experience_until, role.school).cite.section


def waiting(at: dt.datetime, limit: int) -> list[int]:
    """Students with a due reminder, by primary key. An index look-up, whatever is stored."""
    due = Lapse.objects.filter(due_at__lte=at, gone_at__isnull=True).order_by("due_at", "pk")
    return list(dict.fromkeys(due.values_list("student_id", flat=True)[:limit]))


@transaction.atomic
def make(student_pk: int, at: dt.datetime) -> list[Reminder]:
    """Make one student's due reminders, with the student's row locked.

    A student who is not in training gets none, and is checked again the next day.
    """
    student = Student.objects.select_for_update(no_key=True, of=("self",)).filter(pk=student_pk).first()
    if student is None:
        return []
    school = School.objects.get(pk=student.school_id)
    zone, on = zoneinfo.ZoneInfo(school.time_zone), school.day(at)
    due = list(Lapse.objects.filter(student=student, due_at__lte=at, gone_at__isnull=True).order_by("pk"))
    told, lead_times = leads.told_of([student.pk]), leads.of_school(school)
    in_training = Enrolment.objects.filter(Enrolment.in_force(on), student=student).exists()
    made: list[Reminder] = []
    for lapse in due:
        key = student.pk, lapse.what, lapse.last_day
        leads.schedule(lapse, lead_times, zone, at, told.get(key, ()))
        if lapse.due_at is None or lapse.due_lead is None or lapse.due_at > at:
            continue
        if not in_training:
            lapse.due_at = leads.beginning(on + dt.timedelta(days=1), zone)
            continue
        made.append(_reminder(lapse, lapse.due_at, lapse.due_lead, at))
        told.setdefault(key, set()).add(lapse.due_lead)
        leads.schedule(lapse, lead_times, zone, at, told[key])
    Lapse.objects.bulk_update(due, ["due_at", "due_lead"])
    Reminder.objects.bulk_create(made)
    if made:
        _tell(student, school, made, at)
    return made


_OF_A_LAPSE = ("school_id", "student_id", "what", "kind", "last_day", "says", "citations", "ends")


def _reminder(lapse: Lapse, due_at: dt.datetime, lead: int, at: dt.datetime) -> Reminder:
    said = {name: getattr(lapse, name) for name in _OF_A_LAPSE}
    return Reminder(**said, lead_days=lead, due_at=due_at, created_at=at)


def _tell(student: Student, school: School, made: list[Reminder], at: dt.datetime) -> None:
    """Queue the e-mails and notices for every recipient."""
    student.school = school
    told = recipients.of_student(student, school.day(at))
    for one in told:
        if one.email:
            deliver(one, school, made, at, student=student)
        if one.user is not None:
            Notice.objects.bulk_create(
                Notice(
                    school=school,
                    student=student,
                    user=one.user,
                    kind=Notice.Kind.REMINDER,
                    about=notices.of_reminder(each.ref, one.user),
                    at=at,
                )
                for each in made
            )
            access.log(one.user, student, access.READ, "reminder", via="reminder", at=at)
    digest(school, made, at)


def deliver(
    one: Recipient, school: School, made: Iterable[Reminder], at: dt.datetime, *, student: Student | None
) -> None:
    """One e-mail about everything that fell due at once."""
    listed = list(made)
    delivery = Delivery.objects.create(
        school=school,
        kind=Delivery.Kind.REMINDER,
        key=f"reminder:{listed[0].ref}:{one.key}:0",
        student=student,
        user=one.user,
        guardian=one.guardian,
        send_after=one.from_then(at),
        created_at=at,
    )
    _items(delivery, listed, one.key, 0)


def _items(delivery: Delivery, listed: Iterable[Reminder], recipient: str, turn: int) -> None:
    DeliveryItem.objects.bulk_create(
        DeliveryItem(
            school_id=each.school_id, delivery=delivery, reminder=each, recipient=recipient, round=turn
        )
        for each in listed
    )


def digest(school: School, made: Iterable[Reminder], at: dt.datetime) -> None:
    """Add the reminders to the next digest of each administrator of the school."""
    for one in recipients.administrators(school):
        if one.user is not None and one.email:
            then = one.from_then(_next_digest(at, one.zone))
            key = f"digest:{school.pk}:{then.astimezone(one.zone).date()}:{one.user.pk}"
            said: dict[str, Any] = {"kind": Delivery.Kind.DIGEST, "user": one.user, "send_after": then}
            said |= {"school": school, "created_at": at}
            Delivery.objects.bulk_create([Delivery(key=key, **said)], ignore_conflicts=True)
            mail = Delivery.objects.select_for_update(no_key=True).get(key=key)
            if mail.state != Delivery.State.PENDING:  # it went out early because the quiet hours changed
                mail = Delivery.objects.create(key=f"{key}:{uuid.uuid4()}", **said)
            _items(mail, made, f"digest:{one.user.pk}", 0)


def _next_digest(at: dt.datetime, zone: dt.tzinfo) -> dt.datetime:
    day = at.astimezone(zone).date()
    this = dt.datetime.combine(day, DIGEST_AT, zone).astimezone(dt.UTC)
    if this >= at + CLOSED_BEFORE:
        return this
    return dt.datetime.combine(day + dt.timedelta(days=1), DIGEST_AT, zone).astimezone(dt.UTC)


def make_for_roles(at: dt.datetime) -> list[Reminder]:
    """Make the due reminders of instructors' own dates; withdraw those whose date changed."""
    today = at.date()
    longest = dt.timedelta(days=366)
    Reminder.objects.filter(role__isnull=False, state=Reminder.State.DUE, last_day__gte=today).exclude(
        role__recent_experience_until=F("last_day")
    ).update(state=Reminder.State.WITHDRAWN, withdrawn_at=at)
    dated = Role.objects.filter(
        role=Role.Kind.INSTRUCTOR,
        recent_experience_until__gte=today - dt.timedelta(days=1),
        recent_experience_until__lte=today + longest,
    )
    told: dict[tuple[int, dt.date], set[int]] = {}
    rows = Reminder.objects.filter(role__in=dated).values_list("role_id", "last_day", "lead_days")
    for key, last, lead in rows:
        told.setdefault((key or 0, last), set()).add(lead)
    lead_times: dict[int, dict[str, tuple[int, ...]]] = {}
    made = []
    for role in dated.select_related("school", "user").order_by("pk"):
        if role.school_id not in lead_times:
            lead_times[role.school_id] = leads.of_school(role.school)
        before = told.get((role.pk, role.recent_experience_until or dt.date.min), set())
        made.append(_make_for_role(role, lead_times[role.school_id][leads.RECENT_EXPERIENCE], before, at))
    return [each for each in made if each]


@transaction.atomic
def _make_for_role(
    role: Role, lead_times: tuple[int, ...], told: set[int], at: dt.datetime
) -> Reminder | None:
    last, zone = role.recent_experience_until, zoneinfo.ZoneInfo(role.school.time_zone)
    if last is None or last < role.school.day(at) or not role.user.is_active:
        return None
    due = leads.next_due(leads.dues(None, last, lead_times, zone), at, told)
    if due is None or due.at > at:
        return None
    Role.objects.select_for_update(no_key=True).get(pk=role.pk)
    reminder, created = Reminder.objects.get_or_create(
        role=role,
        what=leads.RECENT_EXPERIENCE,
        last_day=last,
        lead_days=due.lead,
        defaults={
            "school": role.school,
            "kind": leads.RECENT_EXPERIENCE,
            "says": RECENT_EXPERIENCE_SAYS,
            "citations": [recent_experience_citation(role)],
            "due_at": due.at,
            "created_at": at,
        },
    )
    if not created:
        return None
    for recipient in recipients.of_users([(role.user, recipients.ONESELF)], role.school):
        if recipient.email:
            deliver(recipient, role.school, [reminder], at, student=None)
    digest(role.school, [reminder], at)
    return reminder
