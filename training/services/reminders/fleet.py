"""Reminders of a school's aircraft: to its instructors, and in the administrators' digest."""

import datetime as dt
import zoneinfo

from django.db import transaction

from training.models import Aircraft, AircraftCheck, Reminder, School
from training.reports import airworthiness
from training.reports.airworthiness import Held
from training.services.reminders import due, leads, recipients


def make(at: dt.datetime) -> list[Reminder]:
    """Make the due reminders of aircraft; withdraw those that were renewed.

    It reads the newest checks of every school's aircraft: a handful for each, whatever else is stored.
    """
    made: list[Reminder] = []
    with_checks = AircraftCheck.objects.order_by().values("school").distinct()
    for school in School.objects.filter(pk__in=with_checks).order_by("pk"):
        standing = airworthiness.held([school], school.day(at))
        _withdraw(school, standing, at)
        if any(_due(school, standing, at)):
            made += _make(school, at)
    return made


def _withdraw(school: School, standing: list[Held], at: dt.datetime) -> None:
    """Withdraw the reminders that no longer apply, and restore those that apply again."""
    stands = {(each.check.aircraft_id, each.version.id, each.last) for each in standing}
    known = Reminder.objects.filter(
        school=school, aircraft__isnull=False, last_day__gte=school.day(at)
    ).values_list("pk", "aircraft_id", "what", "last_day", "state")
    gone, back = [], []
    for pk, aircraft, what, last, state in known:
        if (aircraft, what, last) not in stands and state == Reminder.State.DUE:
            gone.append(pk)
        if (aircraft, what, last) in stands and state == Reminder.State.WITHDRAWN:
            back.append(pk)
    if gone:
        Reminder.objects.filter(pk__in=gone).update(state=Reminder.State.WITHDRAWN, withdrawn_at=at)
    if back:
        Reminder.objects.filter(pk__in=back).update(state=Reminder.State.DUE, withdrawn_at=None)


def _due(school: School, standing: list[Held], at: dt.datetime) -> list[tuple[Held, leads.Due]]:
    """What expires and has a reminder due. Two queries."""
    zone, today = zoneinfo.ZoneInfo(school.time_zone), school.day(at)
    lead_times = leads.of_school(school)[leads.AIRCRAFT]
    told: dict[tuple[int | None, str, dt.date], set[int]] = {}
    rows = Reminder.objects.filter(school=school, aircraft__isnull=False, last_day__gte=today)
    for aircraft, what, last, lead in rows.values_list("aircraft_id", "what", "last_day", "lead_days"):
        told.setdefault((aircraft, what, last), set()).add(lead)
    found = []
    for each in standing:
        if each.last < today:
            continue
        key = each.check.aircraft_id, each.version.id, each.last
        every = leads.dues(each.check.done, each.last, lead_times, zone)
        one = leads.next_due(every, at, told.get(key, set()))
        if one is not None and one.at <= at:
            found.append((each, one))
    return found


@transaction.atomic
def _make(school: School, at: dt.datetime) -> list[Reminder]:
    """Write one school's reminders and deliveries together, with its aircraft locked."""
    list(Aircraft.objects.select_for_update(no_key=True).filter(school=school).order_by("pk"))
    standing = airworthiness.held([school], school.day(at))
    made = [
        Reminder(
            school=school,
            aircraft_id=each.check.aircraft_id,
            what=each.version.id,
            kind=leads.AIRCRAFT,
            last_day=each.last,
            lead_days=one.lead,
            says=each.says,
            citations=[each.version.cite.section],
            due_at=one.at,
            created_at=at,
        )
        for each, one in _due(school, standing, at)
    ]
    Reminder.objects.bulk_create(made)
    if made:
        for person in recipients.instructors(school):
            if person.email:
                due.deliver(person, school, made, at, student=None)
        due.digest(school, made, at)
    return made
