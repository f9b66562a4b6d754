"""What ends of an aircraft: recorded by the school, told in time and once, withdrawn if renewed."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

import pytest
from django.core import mail
from django.db import IntegrityError, transaction

from tests.support import factories
from tests.support.cast import Cast
from tests.support.kept import kept
from tests.support.reminding import at, sweep, told
from training import models
from training.reports.airworthiness import by_aircraft, held
from training.services.errors import NotAllowed, NotFound
from training.services.fleet import aircraft as fleets
from training.services.reminders import coming, fleet, leads

NOON = at("2026-11-25 18:00")
MARCH = dt.date(2027, 3, 31)


@kept
def craft(people: Cast) -> models.Aircraft:
    return factories.aircraft(people.school, registration="N00XY", model="C172")


def record(people: Cast, craft: models.Aircraft, done: str, **more: Any) -> models.AircraftCheck:
    expires = more.get("expires")
    return fleets.record(
        craft.pk,
        more.get("kind", "annual-inspection"),
        dt.date.fromisoformat(done),
        expires and dt.date.fromisoformat(expires),
        by=more.get("by", people.ada),
        at=more.get("at", NOON),
    )


def last_days(people: Cast) -> list[tuple[str, dt.date]]:
    return [(each.version.id, each.last) for each in held([people.school], people.school.day(NOON))]


def mails() -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for each in mail.outbox:
        found.setdefault(each.to[0], []).append(str(each.body))
    return found


# What stands


def test_of_one_kind_the_newest_recorded_stands_so_that_a_slip_is_put_right(people: Cast, craft) -> None:
    record(people, craft, "2026-03-10")
    record(people, craft, "2026-10-10")
    assert last_days(people) == [("annual-inspection", dt.date(2027, 10, 31))]
    record(people, craft, "2026-01-10")
    assert last_days(people) == [("annual-inspection", dt.date(2027, 1, 31))]
    assert craft.checks.count() == 3


def test_the_same_again_is_what_stands(people: Cast, craft) -> None:
    first = record(people, craft, "2026-03-10")
    assert record(people, craft, "2026-03-10") == first
    assert (first.by, first.recorded_at, first.school) == (people.ada, NOON, people.school)


def test_each_aircraft_has_its_own_and_the_first_to_end_stands_first(people: Cast, craft) -> None:
    other = factories.aircraft(people.school, registration="N00AB", model="PA28")
    device = factories.aircraft(people.school, registration="SIM1", model="C172", device="AATD")
    record(people, craft, "2026-03-10")
    record(people, craft, "2025-02-10", kind="transponder")
    record(people, other, "2026-06-10")
    listed = by_aircraft(people.school, people.school.day(NOON))
    assert [(each, [one.version.id for one in found]) for each, found in listed] == [
        (other, ["annual-inspection"]),
        (craft, ["transponder", "annual-inspection"]),
        (device, []),
    ]
    assert by_aircraft(people.elsewhere, people.school.day(NOON)) == []


@pytest.mark.parametrize(
    ("given", "place", "says"),
    [
        pytest.param({"done": "2026-11-26"}, "done", "after today at the school", id="tomorrow"),
        pytest.param({"kind": "hundred-hours"}, "kind", "is not one of annual-inspection", id="no such kind"),
        pytest.param({"kind": "elt-battery"}, "expires", "is missing", id="a battery without its day"),
        pytest.param({"expires": "2026-11-24"}, "expires", "before 2026-11-25", id="over before it was done"),
    ],
)
def test_what_cannot_be_is_refused_with_its_place(people: Cast, craft, given, place, says) -> None:
    with pytest.raises(fleets.AircraftError) as refused:
        record(people, craft, **{"done": "2026-11-25", **given})
    assert [(fault.place, says in fault.message) for fault in refused.value.errors] == [(place, True)]
    assert not craft.checks.exists()


def test_today_is_the_day_at_the_school(people: Cast, craft) -> None:
    midnight = at("2026-11-26 06:00")  # in Chicago
    assert record(people, craft, "2026-11-26", at=midnight)
    with pytest.raises(fleets.AircraftError):
        record(people, craft, "2026-11-26", at=midnight - dt.timedelta(seconds=1), kind="transponder")


def test_a_training_device_has_nothing_that_ends_here(people: Cast) -> None:
    device = factories.aircraft(people.school, registration="SIM1", model="C172", device="AATD")
    with pytest.raises(fleets.AircraftError, match="training device"):
        record(people, device, "2026-03-10")


def test_only_administrators_of_the_school_record_it(people: Cast, craft) -> None:
    with pytest.raises(NotAllowed):
        record(people, craft, "2026-03-10", by=people.ida)
    for stranger in (people.olaf, people.sams_account, factories.administrator(people.elsewhere)):
        with pytest.raises(NotFound):
            record(people, craft, "2026-03-10", by=stranger)


def test_the_database_refuses_what_ends_before_it_was_done(people: Cast, craft) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        models.AircraftCheck.objects.create(
            school=people.school,
            aircraft=craft,
            kind="annual-inspection",
            done=dt.date(2026, 3, 10),
            expires=dt.date(2026, 3, 9),
            recorded_at=NOON,
            by=people.ada,
        )


# Who is told, and when


def test_instructors_and_the_digest_are_told_at_each_lead_time_once(people: Cast, craft) -> None:
    record(people, craft, "2026-03-10")  # through 31 March 2027; 30 days before begins at 6:00 UTC
    sweep("2027-03-01 05:59")
    assert told() == []
    for when in ("2027-03-01 06:00", "2027-03-01 15:00", "2027-03-02 15:00"):
        sweep(when)
    assert told() == [("annual-inspection", MARCH, 30, "due")]
    reminder = models.Reminder.objects.get()
    assert (reminder.aircraft, reminder.kind, reminder.citations) == (craft, "aircraft", ["14 CFR 91.409(a)"])
    assert {who: len(bodies) for who, bodies in mails().items()} == {
        "ida@lakeside.example": 1,
        "ada@lakeside.example": 1,
    }
    assert all("N00XY" in body and "31 March 2027" in body for [body] in mails().values())
    sweep("2027-03-24 15:00")
    assert [lead for _, _, lead, _ in told()] == [30, 7]


@pytest.mark.any_database  # others here and test_reminders make these queries on SQLite
@pytest.mark.parametrize(
    ("done", "begins", "last"),
    [
        pytest.param("2027-02-28", "2028-02-22 06:00", "2028-02-29", id="a leap February"),
        pytest.param("2026-02-01", "2027-02-21 06:00", "2027-02-28", id="a common one"),
        pytest.param("2026-03-31", "2027-03-24 05:00", "2027-03-31", id="the last of March, in summer time"),
    ],
)
def test_the_week_before_the_end_of_the_month(people: Cast, craft, done: str, begins: str, last: str) -> None:
    record(people, craft, done, at=at(f"{done} 18:00"))
    leads.set_for(people.school, "aircraft", [7], at=at(f"{done} 18:00"))
    fleet.make(at(begins) - dt.timedelta(seconds=1))
    assert told() == []
    fleet.make(at(begins))
    assert told() == [("annual-inspection", dt.date.fromisoformat(last), 7, "due")]
    assert fleet.make(at(begins)) == []


@pytest.mark.any_database  # others here and test_reminders make these queries on SQLite
def test_what_is_renewed_is_withdrawn_and_never_sent(people: Cast, craft) -> None:
    record(people, craft, "2026-03-10")
    sweep("2027-03-01 07:00")  # 1:00 in the night: the mails wait for the morning
    record(people, craft, "2027-03-01", at=at("2027-03-01 12:00"))
    sweep("2027-03-01 12:30")
    sweep("2027-03-01 20:00")
    assert told() == [("annual-inspection", MARCH, 30, "withdrawn")]
    assert mails() == {}


def test_a_renewal_that_was_a_slip_brings_the_reminder_back(people: Cast, craft) -> None:
    record(people, craft, "2026-03-10")
    sweep("2027-03-01 15:00")
    record(people, craft, "2027-03-01", at=at("2027-03-01 16:00"))
    sweep("2027-03-01 16:01")
    record(people, craft, "2026-03-10", at=at("2027-03-01 17:00"))
    sweep("2027-03-01 17:01")
    assert told() == [("annual-inspection", MARCH, 30, "due")]


def test_what_is_over_is_not_told_any_more(people: Cast, craft) -> None:
    record(people, craft, "2026-03-10")
    fleet.make(at("2027-04-01 05:00"))  # midnight at the school
    assert told() == []
    fleet.make(at("2027-04-01 04:59"))
    assert told() == [("annual-inspection", MARCH, 7, "due")]


@pytest.mark.any_database  # others here make these queries on SQLite
def test_two_things_that_fall_due_together_are_one_mail(people: Cast, craft) -> None:
    record(people, craft, "2026-03-10")
    record(people, craft, "2026-03-11", kind="elt-inspection")
    sweep("2027-03-01 15:00")
    [body] = mails()["ida@lakeside.example"]
    assert "Annual inspection" in body
    assert "Emergency locator transmitter inspection" in body


def test_who_instructs_there_no_more_is_not_told(people: Cast, craft) -> None:
    record(people, craft, "2026-03-10")
    sweep("2027-03-01 07:00")
    people.ida.roles.all().delete()
    sweep("2027-03-01 15:00")
    assert set(mails()) == {"ada@lakeside.example"}


def test_the_same_reminder_is_never_written_twice(people: Cast, craft) -> None:
    record(people, craft, "2026-03-10")
    [made] = fleet.make(at("2027-03-01 15:00"))
    made.pk, made.ref = None, uuid.uuid4()
    with pytest.raises(IntegrityError), transaction.atomic():
        models.Reminder.objects.bulk_create([made])


# Where it is seen


def test_instructors_and_administrators_have_it_among_their_own_and_nobody_else(people: Cast, craft) -> None:
    record(people, craft, "2026-03-10")
    when = at("2027-03-01 15:00")
    fleet.make(when)
    for user in (people.ida, people.ada):
        [one] = coming.own(user, when, via="api")
        about = one.reminder.aircraft
        assert (about.registration, about.model) == ("N00XY", "C172")
        assert one.reminder.student is None
    for user in (people.sams_account, people.olaf, people.ottos_account):
        assert coming.own(user, when, via="api") == []


def test_what_will_be_sent_has_it_until_it_is_made(people: Cast, craft) -> None:
    record(people, craft, "2026-03-10")
    on = [each for each in coming.of_school(people.school, at("2027-02-01 18:00")) if each.aircraft]
    assert [(each.day, each.lead, each.aircraft) for each in on] == [(dt.date(2027, 3, 1), 30, craft)]
    on = [each for each in coming.of_school(people.school, at("2027-03-01 18:00")) if each.aircraft]
    assert [(each.day, each.lead) for each in on] == [(dt.date(2027, 3, 24), 7)]
    assert coming.of_school(people.elsewhere, at("2027-03-01 18:00")) == []


def test_the_page_of_the_administrator_lists_it_with_its_citation(people: Cast, craft, client) -> None:
    record(people, craft, "2026-03-10")
    client.force_login(people.ada, backend="django.contrib.auth.backends.ModelBackend")
    shown = client.get("/reminders/ahead/").content.decode()
    assert f'href="/school/{people.school.slug}/aircraft/"' in shown
    shown = client.get(f"/school/{people.school.slug}/aircraft/").content.decode()
    for said in ("N00XY", "Annual inspection", "14 CFR 91.409(a)", "31 Mar 2027", "100 hours"):
        assert said in shown
