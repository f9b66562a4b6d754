"""A person's calendar of what lapses (RFC 5545), read under a secret address.

Each lapse is one event with an identity of its own: changed, it comes with a higher ``SEQUENCE``; gone, as
``CANCELLED``. Calendars are kept by other companies, so an event says as little as is of use: no name but
initials, and of a medical only that a document ends.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets
from collections.abc import Iterable

from django.conf import settings
from django.db.models import Q, QuerySet
from icalendar import Alarm, Calendar, Event, vText

from training.models import AccessLog, CalendarFeed, Lapse, Role, Student, User
from training.reports import lapses
from training.services import access
from training.services.reminders import leads
from training.services.reminders.messages import day_in_words

#: Days for which an event stays after its day, or after it was cancelled.
KEPT = dt.timedelta(days=90)
#: How often a calendar program should look; they take it as advice.
EVERY = dt.timedelta(hours=6)
_VIA = "calendar"


def create(user: User, at: dt.datetime) -> str:
    """A new secret for a user's calendar, in the place of the one there was. It is told this once."""
    secret = secrets.token_urlsafe(32)
    CalendarFeed.objects.update_or_create(
        user=user, defaults={"token_hash": _hash(secret), "created_at": at, "read_at": None}
    )
    return secret


def revoke(user: User) -> bool:
    """Close a user's calendar; whether there was one."""
    return bool(CalendarFeed.objects.filter(user=user).delete()[0])


def address(secret: str) -> str:
    return f"{settings.PUBLIC_ADDRESS}/calendars/{secret}.ics"


def _hash(secret: str) -> str:
    # 256 random bits: nothing is gained by a slow hash.
    return hashlib.sha256(secret.encode()).hexdigest()


def read(secret: str, at: dt.datetime) -> bytes | None:
    """The calendar of that secret, None where there is none (any more). The reading is logged once a day."""
    feed = CalendarFeed.objects.select_related("user").filter(token_hash=_hash(secret)).first()
    if feed is None or not feed.user.is_active:
        return None
    CalendarFeed.objects.filter(pk=feed.pk).update(read_at=at)
    students = list(of_user(feed.user, at).select_related("school"))
    _note(feed.user, students, at)
    return write(feed.user, students, at)


def of_user(user: User, at: dt.datetime) -> QuerySet[Student]:
    """The students whose lapses stand in a user's calendar: oneself, and those one instructs today."""
    on = at.astimezone(dt.UTC).date()
    mine = access.RELATIONS["oneself"](user.pk, on) | access.RELATIONS["instructs"](user.pk, on)
    return Student.objects.filter(mine)


def _note(user: User, students: Iterable[Student], at: dt.datetime) -> None:
    """A program looks every few hours: one line a day is enough to know that it does."""
    listed = list(students)
    noted = set(
        AccessLog.objects.filter(
            user=user, student__in=listed, via=_VIA, at__gte=at - dt.timedelta(days=1)
        ).values_list("student_id", flat=True)
    )
    for student in listed:
        if student.pk not in noted:
            access.log(user, student, access.READ, "what lapses", via=_VIA, at=at)


def write(user: User, students: Iterable[Student], at: dt.datetime) -> bytes:
    """The calendar itself."""
    calendar = Calendar()
    calendar.add("prodid", "-//Student pilot training record//Lapses//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", "Training record: what ends")
    calendar.add("refresh-interval", EVERY, parameters={"VALUE": "DURATION"})
    calendar.add("x-published-ttl", EVERY)
    listed = {each.pk: each for each in students}
    since = (at - KEPT).date()
    rows = Lapse.objects.filter(Q(gone_at__isnull=True) | Q(gone_at__gte=at - KEPT), student__in=listed)
    lead_times = {each.school_id: leads.of_school(each.school) for each in listed.values()}
    for lapse in rows.filter(last_day__gte=since).order_by("last_day", "pk"):
        student = listed[lapse.student_id]
        calendar.add_component(_event(lapse, student, user, lead_times[lapse.school_id]))
    own = Role.objects.filter(
        user=user, role=Role.Kind.INSTRUCTOR, recent_experience_until__gte=since
    ).select_related("school")
    for role in own:
        calendar.add_component(_own_date(role, at))
    made: bytes = calendar.to_ical()
    return made


def _event(lapse: Lapse, student: Student, user: User, lead_times: dict[str, tuple[int, ...]]) -> Event:
    whose = "" if student.user_id == user.pk else f"{_initials(student.name)}: "
    medical = lapse.kind == lapses.MEDICAL
    titles = [each["title"] for each in lapse.ends]
    what = "a document" if medical else _short(lapse)
    event = _all_day(str(lapse.uid), f"{whose}{what} ends", lapse.last_day, lapse.changed_at, lapse.sequence)
    said = [f"Holds through {day_in_words(lapse.last_day)}."]
    if not medical:
        said.append(f"{', '.join(lapse.citations)}.")
    said += [f'With it "{title}" ends.' for title in titles]
    event.add("description", " ".join([*said, f"{settings.PUBLIC_ADDRESS}/reminders/"]))
    event.add("url", f"{settings.PUBLIC_ADDRESS}/students/{student.ref}/")
    if lapse.gone_at is not None:
        event.add("status", "CANCELLED")
        return event
    event.add("status", "CONFIRMED")
    for lead in sorted(lead_times.get(lapse.kind, ()), reverse=True):
        event.add_component(_alarm(lead))
    return event


def _short(lapse: Lapse) -> str:
    model = f" ({lapse.model})" if lapse.model else ""
    names = {
        lapses.ENDORSEMENT: "an endorsement",
        lapses.DOCUMENT: "a document",
        lapses.CERTIFICATE: "a certificate",
        lapses.TEST: "a test result",
    }
    return names.get(lapse.kind, "training that must be recent") + model


def _own_date(role: Role, at: dt.datetime) -> Event:
    last = role.recent_experience_until
    assert last is not None
    uid = f"recent-experience-{role.pk}-{last.isoformat()}"
    event = _all_day(uid, f"recent experience ends ({role.school.name})", last, at, 0)
    event.add("status", "CONFIRMED")
    for lead in leads.of_school(role.school)[leads.RECENT_EXPERIENCE]:
        event.add_component(_alarm(lead))
    return event


def _all_day(uid: str, summary: str, day: dt.date, stamp: dt.datetime, sequence: int) -> Event:
    """An event of a whole day: a date has no time zone, so no calendar moves it to the day before."""
    event = Event()
    event.add("uid", f"{uid}@{settings.PUBLIC_ADDRESS.partition('://')[2].partition(':')[0]}")
    event.add("dtstamp", stamp.astimezone(dt.UTC))
    event.add("last-modified", stamp.astimezone(dt.UTC))
    event.add("sequence", sequence)
    event.add("dtstart", day)
    event.add("dtend", day + dt.timedelta(days=1))
    event.add("summary", summary[0].upper() + summary[1:])
    event.add("transp", "TRANSPARENT")  # it takes up no time
    event.add("class", "PRIVATE")
    return event


def _alarm(lead: int) -> Alarm:
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm["description"] = vText("Training record: something ends soon")
    # At nine in the morning: the day begins at midnight on the reader's clock.
    alarm.add("trigger", dt.timedelta(hours=9) - dt.timedelta(days=lead))
    return alarm


def _initials(name: str) -> str:
    return "".join(f"{part[0].upper()}." for part in name.split()) or "A student"
