"""Lead times: how many days before an expiration a reminder is sent, and the instant it falls due."""

import datetime as dt
import zoneinfo
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q

from syllabus.engine.errors import InputError
from syllabus.engine.record.reading import Errors
from training.models import Lapse, LeadTimes, Reminder, School
from training.models.watching.reminders import check_days
from training.reports import lapses

#: An instructor's recent experience, whose last day the school records (14 CFR 61.197).
RECENT_EXPERIENCE = "recent-experience"
#: Inspections and documents of an aircraft.
AIRCRAFT = "aircraft"
#: Days before the last day, by the kind of thing. Common practice, not law: a school sets its own.
DEFAULTS: Mapping[str, tuple[int, ...]] = {
    lapses.ENDORSEMENT: (14, 3),
    lapses.MEDICAL: (60, 30, 7),
    lapses.DOCUMENT: (30, 7),
    lapses.CERTIFICATE: (60, 14),
    lapses.TEST: (60, 14),
    lapses.TRAINING: (14, 3),
    RECENT_EXPERIENCE: (60, 30, 7),
    AIRCRAFT: (30, 7),
}


class LeadTimesError(InputError):
    """Invalid lead times."""

    what = "the lead times"


@dataclass(frozen=True, slots=True)
class Due:
    """A reminder falls due ``lead`` days before the last day: at the beginning of ``day`` at the school."""

    lead: int
    day: dt.date
    at: dt.datetime


def of_school(school: School | int) -> dict[str, tuple[int, ...]]:
    """A school's lead times: its own, else the defaults. One query."""
    own = LeadTimes.objects.filter(school=school).values_list("kind", "days")
    return {**DEFAULTS, **{kind: tuple(days) for kind, days in own}}


def beginning(day: dt.date, zone: dt.tzinfo) -> dt.datetime:
    """The first instant of a day on a clock, in UTC; if midnight is skipped, the first one after it.

    If midnight comes twice, the day begins with the first.
    """
    return dt.datetime.combine(day, dt.time(), zone).astimezone(dt.UTC)


def dues(first: dt.date | None, last: dt.date, leads: Iterable[int], zone: dt.tzinfo) -> list[Due]:
    """The reminders of one expiration, sorted by time, without those that would come before ``first``."""
    found = []
    for lead in sorted(set(leads), reverse=True):
        if last.toordinal() - lead < (first.toordinal() if first else 1):
            continue
        day = last - dt.timedelta(days=lead)
        found.append(Due(lead, day, beginning(day, zone)))
    return found


def next_due(all_dues: Iterable[Due], at: dt.datetime, told: Collection[int]) -> Due | None:
    """The next reminder; of those whose time has passed only the last, so that nobody gets several at once.

    ``told`` are the lead times for which reminders were made.
    """
    every = list(all_dues)
    passed = [each for each in every if each.at <= at]
    if passed and passed[-1].lead not in told:
        return passed[-1]
    return next((each for each in every if each.at > at and each.lead not in told), None)


def told_of(students: Collection[int]) -> dict[tuple[int, str, dt.date], set[int]]:
    """For each of these students' expirations (by key), the lead times that have reminders. One query."""
    found: dict[tuple[int, str, dt.date], set[int]] = {}
    rows = Reminder.objects.filter(student__in=students).values_list(
        "student_id", "what", "last_day", "lead_days"
    )
    for student, what, last, lead in rows:
        found.setdefault((student or 0, what, last), set()).add(lead)
    return found


def schedule(lapse: Lapse, lead_times: Mapping[str, tuple[int, ...]], zone: dt.tzinfo, at: dt.datetime,
             told: Collection[int]) -> None:  # fmt: skip
    """Set when the expiration's next reminder falls due; None after its last day. Does not save."""
    over = beginning(lapse.last_day + dt.timedelta(days=1), zone) <= at
    every = [] if over else dues(lapse.first_day, lapse.last_day, lead_times.get(lapse.kind, ()), zone)
    due = next_due(every, at, told)
    lapse.due_at, lapse.due_lead = (due.at, due.lead) if due else (None, None)


def set_for(school: School, kind: str, days: Collection[int] | None, *, at: dt.datetime) -> None:
    """Set a school's own lead times for one kind; see ``set_several``."""
    set_several(school, {kind: days}, at=at)


@transaction.atomic
def set_several(school: School, days: Mapping[str, Collection[int] | None], *, at: dt.datetime) -> None:
    """Set a school's own lead times for each kind, or go back to the default with None.

    Future reminders are scheduled again; those already sent stay.

    Raises: LeadTimesError with every error.
    """
    errors = Errors()
    for kind in days:
        if kind not in DEFAULTS:
            errors.add(f"days.{kind}", f"is not a kind of expiration; use one of {', '.join(DEFAULTS)}")
    for kind, wanted in days.items():
        try:
            check_days(list(wanted) if wanted is not None else [])
        except ValidationError as problem:
            errors.add(f"days.{kind}", problem.messages[0])
    errors.stop(LeadTimesError)
    for kind, wanted in days.items():
        if wanted is None:
            LeadTimes.objects.filter(school=school, kind=kind).delete()
        else:
            LeadTimes.objects.update_or_create(
                school=school, kind=kind, defaults={"days": sorted(wanted, reverse=True)}
            )
    reschedule(school, at=at)


def reschedule(school: School, *, at: dt.datetime, which: Q | None = None) -> int:
    """Schedule future reminders of a school again, all or those of ``which`` expirations; how many moved."""
    zone, lead_times = zoneinfo.ZoneInfo(school.time_zone), of_school(school)
    lapses = Lapse.objects.filter(which or Q(), school=school, gone_at__isnull=True)
    coming = list(lapses.filter(last_day__gte=school.day(at)))
    before = [each.due_at for each in coming]
    told = told_of({each.student_id for each in coming})
    for each in coming:
        schedule(each, lead_times, zone, at, told.get((each.student_id, each.what, each.last_day), ()))
    moved = [each for each, was in zip(coming, before, strict=True) if each.due_at != was]
    Lapse.objects.bulk_update(moved, ["due_at", "due_lead"], batch_size=500)
    return len(moved)
