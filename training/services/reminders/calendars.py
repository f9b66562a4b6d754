"""A person's calendar of expirations (RFC 5545), read through a secret link.

Each expiration is one event with a fixed identity: changed, it comes with a higher ``SEQUENCE``; gone, as
``CANCELLED``. Other companies store calendars, so an event says as little as possible: initials instead of a
name, and of a medical certificate only that a document expires.
"""

import datetime as dt
import hashlib
import secrets
from collections.abc import Iterable, Iterator, Mapping

from django.conf import settings
from django.db.models import Q, QuerySet
from django.utils import translation
from django.utils.translation import gettext, gettext_noop
from django.utils.translation import gettext as _
from icalendar import Alarm, Calendar, Event, vDuration, vText

from syllabus.law import airworthiness
from training import models
from training.reports import lapses
from training.services import access, row_scope
from training.services.fleet import aircraft as fleets
from training.services.reminders import due, leads, preferences
from training.services.reminders.messages import day_in_words

#: Days for which an event stays after its day, or after it was cancelled.
KEPT = dt.timedelta(days=90)
#: How often a calendar program should look; programs treat it as advice.
EVERY = dt.timedelta(hours=6)
#: An event's title by the kind of thing: without, and with the aircraft model.
TITLES: Mapping[str, tuple[str, str]] = {
    lapses.ENDORSEMENT: (
        gettext_noop("An endorsement expires"),
        gettext_noop("An endorsement (%(model)s) expires"),
    ),
    lapses.DOCUMENT: (gettext_noop("A document expires"), gettext_noop("A document (%(model)s) expires")),
    lapses.CERTIFICATE: (
        gettext_noop("A certificate expires"),
        gettext_noop("A certificate (%(model)s) expires"),
    ),
    lapses.TEST: (gettext_noop("A test result expires"), gettext_noop("A test result (%(model)s) expires")),
}
OTHERWISE = (
    gettext_noop("Recent training expires"),
    gettext_noop("Recent training (%(model)s) expires"),
)
_VIA = "calendar"


def create(user: models.User, at: dt.datetime) -> str:
    """Create a new secret for a user's calendar; it replaces the old one and is returned only here."""
    secret = secrets.token_urlsafe(32)
    models.CalendarFeed.objects.update_or_create(
        user=user, defaults={"token_hash": _hash(secret), "created_at": at, "read_at": None}
    )
    return secret


def revoke(user: models.User) -> bool:
    """Turn off a user's calendar; whether there was one."""
    return bool(models.CalendarFeed.objects.filter(user=user).delete()[0])


def address(secret: str) -> str:
    return f"{settings.PUBLIC_ADDRESS}/calendars/{secret}.ics"


def _hash(secret: str) -> str:
    # 256 random bits: a slow hash would gain nothing
    return hashlib.sha256(secret.encode()).hexdigest()


def read(secret: str, at: dt.datetime) -> bytes | None:
    """The calendar of that secret, or None. The reading is logged once a day."""
    feed = models.CalendarFeed.objects.select_related("user").filter(token_hash=_hash(secret)).first()
    if feed is None or not feed.user.is_active:
        return None
    row_scope.of(feed.user_id)
    models.CalendarFeed.objects.filter(pk=feed.pk).update(read_at=at)
    students = list(of_user(feed.user, at).select_related("school"))
    _note(feed.user, students, at)
    return write(feed.user, students, at)


def of_user(user: models.User, at: dt.datetime) -> QuerySet[models.Student]:
    """The students in a user's calendar: oneself, and those one instructs today."""
    on = at.astimezone(dt.UTC).date()
    mine = access.RELATIONS["oneself"](user.pk, on) | access.RELATIONS["instructs"](user.pk, on)
    return models.Student.objects.filter(mine)


def _note(user: models.User, students: Iterable[models.Student], at: dt.datetime) -> None:
    """Log the reading once a day: a program looks every few hours."""
    listed = list(students)
    noted = set(
        models.AccessLog.objects.filter(
            user=user, student__in=listed, via=_VIA, at__gte=at - dt.timedelta(days=1)
        ).values_list("student_id", flat=True)
    )
    for student in listed:
        if student.pk not in noted:
            access.log(user, student, access.READ, "what lapses", via=_VIA, at=at)


def write(user: models.User, students: Iterable[models.Student], at: dt.datetime) -> bytes:
    """The calendar itself, in the user's language."""
    language = preferences.of(user).language
    with translation.override(language):
        calendar = Calendar()
        calendar.add("prodid", f"-//Student pilot training record//Expirations//{language.upper()}")
        calendar.add("version", "2.0")
        calendar.add("method", "PUBLISH")
        calendar.add("x-wr-calname", _("Training record: expirations"))
        calendar.add("refresh-interval", EVERY, parameters={"VALUE": "DURATION"})
        calendar["x-published-ttl"] = vDuration(EVERY)
        for event in (*_of_students(user, students, at), *_own_dates(user, at), *_of_aircraft(user, at)):
            calendar.add_component(event)
        made: bytes = calendar.to_ical()
    return made


def _of_students(user: models.User, students: Iterable[models.Student], at: dt.datetime) -> Iterator[Event]:
    listed = {each.pk: each for each in students}
    rows = models.Lapse.objects.filter(
        Q(gone_at__isnull=True) | Q(gone_at__gte=at - KEPT), student__in=listed
    )
    lead_times = {each.school_id: leads.of_school(each.school) for each in listed.values()}
    for lapse in rows.filter(last_day__gte=(at - KEPT).date()).order_by("last_day", "pk"):
        student = listed[lapse.student_id]
        yield _event(lapse, student, user, lead_times[lapse.school_id])


def _event(
    lapse: models.Lapse, student: models.Student, user: models.User, lead_times: dict[str, tuple[int, ...]]
) -> Event:
    medical = lapse.kind == lapses.MEDICAL
    title = _title(lapses.DOCUMENT if medical else lapse.kind, "" if medical else lapse.model)
    if student.user_id != user.pk:
        title = _("%(who)s: %(what)s") % {"who": _initials(student.name), "what": title}
    event = _all_day(str(lapse.uid), title, lapse.last_day, lapse.changed_at, lapse.sequence)
    said = [_holds_through(lapse.last_day)]
    if not medical:
        said.append(f"{', '.join(lapse.citations)}.")
    said += [_("“%(title)s” expires with it.") % {"title": each["title"]} for each in lapse.ends]
    event.add("description", " ".join([*said, f"{settings.PUBLIC_ADDRESS}/reminders/"]))
    event.add("url", f"{settings.PUBLIC_ADDRESS}/students/{student.ref}/")
    return _with_alarms(event, () if lapse.gone_at else lead_times.get(lapse.kind, ()), lapse.gone_at is None)


def _title(kind: str, model: str) -> str:
    plain, of_a_model = TITLES.get(kind, OTHERWISE)
    return gettext(of_a_model) % {"model": model} if model else gettext(plain)


def _holds_through(last: dt.date) -> str:
    return _("Valid through %(day)s.") % {"day": day_in_words(last)}


def _own_dates(user: models.User, at: dt.datetime) -> Iterator[Event]:
    """An instructor's recent experience. If its day changes, it is the same event on another day."""
    own = models.Role.objects.filter(
        user=user, role=models.Role.Kind.INSTRUCTOR, recent_experience_until__gte=(at - KEPT).date()
    ).select_related("school")
    for role in own:
        last = role.recent_experience_until
        assert last is not None
        changes = models.PeopleChange.objects.filter(user=user, school=role.school).order_by("at", "pk")
        stamps = list(changes.values_list("at", flat=True)) or [user.calendar_feed.created_at]
        title = _("Recent experience expires (%(school)s)") % {"school": role.school.name}
        event = _all_day(f"recent-experience-{role.pk}", title, last, stamps[-1], len(stamps) - 1)
        event.add("description", f"{_holds_through(last)} {due.recent_experience_citation(role)}.")
        yield _with_alarms(event, leads.of_school(role.school)[leads.RECENT_EXPERIENCE])


def _of_aircraft(user: models.User, at: dt.datetime) -> Iterator[Event]:
    """Expirations of the aircraft where the user instructs or administers; renewed ones are cancelled."""
    kinds = airworthiness.current()
    checks: dict[tuple[int, str], list[models.AircraftCheck]] = {}
    rows = models.AircraftCheck.objects.filter(school__in=fleets.schools(user), kind__in=kinds)
    for each in rows.select_related("aircraft", "school").order_by("aircraft", "kind", "pk"):
        checks.setdefault((each.aircraft_id, each.kind), []).append(each)
    lead_times: dict[int, tuple[int, ...]] = {}
    for (aircraft, kind), recorded in checks.items():
        newest = recorded[-1]
        version = kinds.on(kind, newest.school.day(at))
        lasts = [airworthiness.last_day(version, each.done, each.expires) for each in recorded]
        if newest.school_id not in lead_times:
            lead_times[newest.school_id] = leads.of_school(newest.school)[leads.AIRCRAFT]
        for last in dict.fromkeys(lasts):
            stands = last == lasts[-1]
            if last is None or last < (at - KEPT).date() or not (stands or newest.recorded_at >= at - KEPT):
                continue
            title = _("%(who)s: %(what)s") % {
                "who": newest.aircraft.registration,
                "what": _("%(document)s expires") % {"document": version.params["title"]},
            }
            changes = len(recorded) - 1 - lasts.index(last)
            event = _all_day(f"aircraft-{aircraft}-{kind}-{last}", title, last, newest.recorded_at, changes)
            event.add("description", f"{_holds_through(last)} {version.cite.section}.")
            yield _with_alarms(event, lead_times[newest.school_id] if stands else (), stands)


def _with_alarms(event: Event, lead_times: Iterable[int], stands: bool = True) -> Event:
    event.add("status", "CONFIRMED" if stands else "CANCELLED")
    for lead in sorted(lead_times, reverse=True):
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
    event.add("summary", summary)
    event.add("transp", "TRANSPARENT")  # shown as free time
    event.add("class", "PRIVATE")
    return event


def _alarm(lead: int) -> Alarm:
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm["description"] = vText(_("Training record: something expires soon"))
    # At nine in the morning: the day begins at midnight on the reader's clock.
    alarm.add("trigger", dt.timedelta(hours=9) - dt.timedelta(days=lead))
    return alarm


def _initials(name: str) -> str:
    return "".join(f"{part[0].upper()}." for part in name.split()) or _("A student")
