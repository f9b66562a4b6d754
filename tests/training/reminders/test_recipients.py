"""Who is told and when: quiet hours on everybody's own clock, consent, days as they begin at the school."""

from __future__ import annotations

import datetime as dt
import zoneinfo

import pytest
from django.core import mail

from syllabus.engine.time.calendar import Length, birthday, last_day
from tests.support import factories
from tests.support.cast import Cast
from tests.support.reminding import at, on_record, sam, solo, sweep, told
from training import models
from training.services.reminders import leads, recipients
from training.services.reminders.recipients import not_in_quiet

NINE, SEVEN = dt.time(21), dt.time(7)


@pytest.mark.parametrize(
    ("zone", "when", "start", "until", "then"),
    [
        pytest.param("UTC", "2026-03-02 12:00", NINE, SEVEN, "2026-03-02 12:00", id="at noon at once"),
        pytest.param("UTC", "2026-03-02 20:59:59", NINE, SEVEN, "2026-03-02 20:59:59", id="just before it"),
        pytest.param("UTC", "2026-03-02 21:00", NINE, SEVEN, "2026-03-03 07:00", id="then, next morning"),
        pytest.param("UTC", "2026-03-03 00:00", NINE, SEVEN, "2026-03-03 07:00", id="after midnight"),
        pytest.param("UTC", "2026-03-03 07:00", NINE, SEVEN, "2026-03-03 07:00", id="as quiet ends, at once"),
        pytest.param("UTC", "2026-03-02 13:00", dt.time(12), dt.time(14), "2026-03-02 14:00", id="at noon"),
        pytest.param("UTC", "2026-03-02 03:00", SEVEN, SEVEN, "2026-03-02 03:00", id="never quiet"),
        pytest.param(
            "America/Chicago", "2026-03-08 07:30", NINE, dt.time(2, 30), "2026-03-08 08:30",
            id="the clock leaves 2:30 out: 3:30 of summer time",
        ),
        pytest.param(
            "America/Chicago", "2026-11-01 05:30", NINE, dt.time(1, 30), "2026-11-01 06:30",
            id="1:30 comes twice: the first, of summer time",
        ),
        pytest.param(
            "America/Chicago", "2026-11-01 07:10", NINE, dt.time(1, 30), "2026-11-01 07:30",
            id="at 1:10 for the second time: the second 1:30",
        ),
        pytest.param(
            "Asia/Kathmandu", "2026-03-02 18:00", NINE, SEVEN, "2026-03-03 01:15",
            id="three quarters of an hour"
        ),
        pytest.param(
            "Pacific/Apia", "2011-12-30 09:30", NINE, SEVEN, "2011-12-30 17:00",
            id="a day that was left out: seven in the morning of the next there was",
        ),
    ],
)  # fmt: skip
def test_nobody_is_written_to_in_quiet_hours(
    zone: str, when: str, start: dt.time, until: dt.time, then: str
) -> None:
    assert not_in_quiet(at(when), zoneinfo.ZoneInfo(zone), start, until) == at(then)


@pytest.mark.parametrize(
    ("zone", "day", "begins"),
    [
        pytest.param("America/Chicago", "2026-03-08", "2026-03-08 06:00", id="the day summer time begins"),
        pytest.param("America/Chicago", "2026-03-09", "2026-03-09 05:00", id="the day after"),
        pytest.param(
            "America/Chicago", "2026-11-02", "2026-11-02 06:00", id="the day after summer time ended"
        ),
        pytest.param(
            "America/Santiago", "2026-09-06", "2026-09-06 04:00", id="midnight left out: one o'clock"
        ),
        pytest.param("America/Havana", "2026-11-01", "2026-11-01 04:00", id="midnight twice: the first"),
        pytest.param(
            "Antarctica/Troll", "2026-03-29", "2026-03-29 00:00", id="a polar station two hours ahead soon"
        ),
        pytest.param("Antarctica/Troll", "2026-03-30", "2026-03-29 22:00", id="and then"),
        pytest.param(
            "Arctic/Longyearbyen", "2026-06-21", "2026-06-20 22:00", id="where the sun does not set"
        ),
        pytest.param(
            "Pacific/Kiritimati", "2026-01-01", "2025-12-31 10:00", id="the first zone to begin a day"
        ),
        pytest.param("Etc/GMT+12", "2026-01-01", "2026-01-01 12:00", id="the last one"),
        pytest.param(
            "Pacific/Apia", "2011-12-30", "2011-12-30 10:00", id="a day that was left out: the next"
        ),
        pytest.param("Pacific/Apia", "2011-12-31", "2011-12-30 10:00", id="and the next itself"),
    ],
)
def test_a_day_begins_at_midnight_of_the_place(zone: str, day: str, begins: str) -> None:
    assert leads.beginning(dt.date.fromisoformat(day), zoneinfo.ZoneInfo(zone)) == at(begins)


ZONES = ("America/Chicago", "America/Santiago", "Antarctica/Troll", "Arctic/Longyearbyen", "Pacific/Apia")
ENDS = [
    pytest.param(dt.date(2026, 2, 7), Length(90, "day"), id="90 days that cross the spring change"),
    pytest.param(dt.date(2026, 9, 1), Length(90, "day"), id="90 days that cross the autumn change"),
    pytest.param(dt.date(2024, 2, 29), Length(24, "calendar month"), id="24 calendar months from a leap day"),
    pytest.param(
        dt.date(2025, 8, 31), Length(6, "calendar month"), id="6 calendar months to a short month's end"
    ),
    pytest.param(dt.date(2024, 8, 31), Length(48, "month"), id="48 months"),
]


@pytest.mark.parametrize("zone", ZONES)
@pytest.mark.parametrize(("event", "life"), ENDS)
def test_asked_every_hour_each_reminder_comes_once_on_its_own_day(
    zone: str, event: dt.date, life: Length
) -> None:
    """Whatever the clocks do: as many reminders as lead times, each on the day that many days before."""
    last = last_day(event, life)
    told_on = asked_every_hour(event, last, (14, 3, 0), zone)
    assert told_on == [(lead, last - dt.timedelta(days=lead)) for lead in (14, 3, 0)]


@pytest.mark.parametrize(
    ("lead_times", "told_on"),
    [
        pytest.param((3, 0), [(3, 31), (0, 2)], id="on the next day that there was"),
        pytest.param((3, 2, 0), [(2, 31), (0, 2)], id="with the reminder of that day, once"),
    ],
)
def test_a_reminder_of_a_day_that_was_left_out_is_not_lost(lead_times, told_on) -> None:
    """In Apia there was no 30 December 2011: the day before the year's last was the 29th."""
    found = asked_every_hour(dt.date(2011, 10, 4), dt.date(2012, 1, 2), lead_times, "Pacific/Apia")
    assert [(lead, day.day) for lead, day in found] == told_on


def asked_every_hour(
    event: dt.date, last: dt.date, lead_times: tuple[int, ...], zone: str
) -> list[tuple[int, dt.date]]:
    """Each reminder with the day, at the place, on which it came."""
    place = zoneinfo.ZoneInfo(zone)
    dues = leads.dues(event, last, lead_times, place)
    told_on: list[tuple[int, dt.date]] = []
    told_leads: set[int] = set()
    hour = leads.beginning(last - dt.timedelta(days=16), place)
    while hour < leads.beginning(last + dt.timedelta(days=2), place):
        due = leads.next_due(dues, hour, told_leads)
        if due is not None and due.at <= hour and hour.astimezone(place).date() <= last:
            told_leads.add(due.lead)
            told_on.append((due.lead, hour.astimezone(place).date()))
        hour += dt.timedelta(hours=1)
    return told_on


@pytest.mark.any_database  # others here and test_reminders make these queries on SQLite
@pytest.mark.django_db
@pytest.mark.parametrize("zone", [*ZONES, "Etc/GMT+12"])
def test_at_a_school_anywhere_it_falls_due_as_the_day_begins_there(people: Cast, zone: str) -> None:
    people.school.time_zone = zone
    people.school.save()
    sam(people, solo("2026-02-01"))
    begins = leads.beginning(dt.date(2026, 4, 18), zoneinfo.ZoneInfo(zone))
    sweep(begins - dt.timedelta(seconds=1))
    assert told(kind="endorsement") == []
    sweep(begins)
    assert [lead for _, _, lead, _ in told(kind="endorsement")] == [14]


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.django_db
def test_each_is_told_on_their_own_clock(people: Cast) -> None:
    models.ReminderPreferences.objects.create(user=people.ida, time_zone="Asia/Tokyo")
    models.ReminderPreferences.objects.create(
        user=people.sams_account, quiet_from=dt.time(23), quiet_until=dt.time(5)
    )
    sam(people, solo("2026-02-01"))
    sweep("2026-04-18 05:00")  # 14 o'clock in Tokyo, midnight in Chicago
    assert [each.to for each in mail.outbox] == [["ida@lakeside.example"]]
    sweep("2026-04-18 10:00")  # 5 o'clock in Chicago
    assert [each.to for each in mail.outbox][1:] == [["sam@lakeside.example"]]


@pytest.mark.django_db
def test_who_wants_no_email_gets_the_notice_alone(people: Cast) -> None:
    models.ReminderPreferences.objects.create(user=people.sams_account, email=False)
    sam(people, solo("2026-02-01"))
    sweep("2026-04-18 14:00")
    assert {to for each in mail.outbox for to in each.to} == {"ida@lakeside.example"}
    assert models.Notice.objects.filter(user=people.sams_account, kind="reminder").count() == 1


def guardian(student: models.Student, people: Cast, **more: object) -> models.Guardian:
    return models.Guardian.objects.create(
        **{
            "school": student.school,
            "student": student,
            "name": "Gus Example",
            "email": "gus@home.example",
            "consent_on": dt.date(2026, 1, 10),
            "recorded_by": people.ada,
            "recorded_at": factories.NOON,
            **more,
        }
    )


#: 17 years and 364 days old on the day of the first reminder; of age on the next.
BORN = dt.date(2008, 4, 19)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("born", "consent", "of_age_at", "is_told"),
    [
        pytest.param(BORN, {}, 18, True, id="a minor's, with consent"),
        pytest.param(BORN - dt.timedelta(days=1), {}, 18, False, id="no more on the 18th birthday"),
        pytest.param(BORN - dt.timedelta(days=1), {}, 19, True, id="where one is of age at 19"),
        pytest.param(None, {}, 18, False, id="not where nobody knows the age"),
        pytest.param(BORN, {"consent_on": dt.date(2026, 4, 19)}, 18, False, id="not before the consent"),
        pytest.param(
            BORN, {"consent_until": dt.date(2026, 4, 17)}, 18, False, id="not after it was taken back"
        ),
        pytest.param(BORN, {"consent_until": dt.date(2026, 4, 18)}, 18, True, id="on the last day of it"),
    ],
)
def test_a_guardian_is_told_while_consent_stands(
    people: Cast, born: dt.date | None, consent: dict[str, dt.date], of_age_at: int, is_told: bool
) -> None:
    people.school.of_age_at = of_age_at
    people.school.save()
    people.sam.birth_date = born
    people.sam.save()
    assert birthday(BORN - dt.timedelta(days=1), 18) == dt.date(2026, 4, 18)
    guardian(people.sam, people, **consent)
    sam(people, solo("2026-02-01"))
    sweep("2026-04-18 14:00")
    to_gus = [each for each in mail.outbox if each.to == ["gus@home.example"]]
    assert [("Sam Example" in each.body, "consent" in each.body) for each in to_gus] == [
        (True, True)
    ] * is_told


ENDED = [
    pytest.param(models.Assignment, {"ends": dt.date(2026, 4, 17)}, id="the assignment"),
    pytest.param(models.Role, {"role": "student"}, id="the role"),
    pytest.param(models.User, {"is_active": False}, id="the account"),
]


@pytest.mark.django_db
@pytest.mark.parametrize(("model", "now"), ENDED)
def test_whose_part_in_it_ended_before_the_morning_is_not_written_to(
    people: Cast, model, now: dict[str, object]
) -> None:
    sam(people, solo("2026-02-01"))
    sweep("2026-04-18 05:00")
    whose = {models.Assignment: "instructor", models.Role: "user", models.User: "pk"}[model]
    model.objects.filter(**{whose: people.ida.pk}).update(**now)
    sweep("2026-04-18 14:00")
    assert {to for each in mail.outbox for to in each.to} == {"sam@lakeside.example", "ada@lakeside.example"}
    [delivery] = models.Delivery.objects.filter(user=people.ida)
    assert (delivery.state, delivery.fault) == ("withdrawn", "no longer for this person")


@pytest.mark.django_db
def test_whoever_is_told_stands_in_the_log_of_the_record(people: Cast) -> None:
    sam(people, solo("2026-02-01"))
    sweep("2026-04-18 14:00")
    noted = models.AccessLog.objects.filter(student=people.sam, via="reminder")
    assert {each.user for each in noted} == {people.ida, people.sams_account}


@pytest.mark.django_db
def test_one_person_is_told_once_in_whatever_relation(people: Cast) -> None:
    """An instructor who learns something else at the same school, taught by a colleague."""
    factories.assign(people.ida, people.sam)
    other = factories.student(people.school, taught_by=people.ida, user=people.ida)
    on_record(other)
    assert [each.why for each in recipients.of_student(other, dt.date(2026, 4, 18))] == ["oneself"]
    assert [each.why for each in recipients.of_student(people.sam, dt.date(2026, 4, 18))] == [
        "oneself",
        "instructs",
    ]
