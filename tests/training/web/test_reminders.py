"""The pages of reminders: each person's own, and the calendar under its secret address."""

from __future__ import annotations

import datetime as dt
import re
import uuid

import icalendar
import pytest
import time_machine
from django.test import Client
from rest_framework.test import APIClient

from tests.support import factories
from tests.support.cast import Cast
from tests.support.kept import kept
from tests.support.reminding import at, sam, solo, sweep
from tests.training.web.test_pages import text_of
from training import models
from training.services.fleet import aircraft
from training.services.people import people
from training.services.reminders import leads

#: The solo endorsement of 1 February holds through 2 May; 14 days before, Sam and Ida are told.
THE_DAY = at("2026-04-18 18:00")

pytestmark = pytest.mark.django_db


@kept
def reminded(people: Cast) -> Cast:
    """Sam and Ida have a reminder of Sam's solo endorsement."""
    sam(people, solo("2026-02-01"))
    with time_machine.travel(THE_DAY, tick=False):
        sweep(THE_DAY)
    return people


@pytest.fixture
def told(reminded: Cast):
    with time_machine.travel(THE_DAY, tick=False):
        yield reminded


def signed_in(user: models.User) -> Client:
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
def test_one_reads_ones_own_and_puts_it_off(told: Cast) -> None:
    client = signed_in(told.sams_account)
    page = client.get("/reminders/")
    assert "2 May 2026" in text_of(page)
    [reminder] = models.Reminder.objects.all()
    address = f"/reminders/{reminder.ref}/"
    client.post(address)
    assert "Dismissed." in text_of(client.get("/reminders/"))
    page = client.post(address, {"until": "2026-04-25"}, follow=True)
    assert "Postponed until 25 Apr 2026." in text_of(page)
    assert "Dismissed." not in text_of(page)


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
@pytest.mark.parametrize(
    ("until", "said"),
    [
        pytest.param("2026-04-18", "not between tomorrow and the last day, 2026-05-02", id="today"),
        pytest.param(
            "2026-05-03", "not between tomorrow and the last day, 2026-05-02", id="after the last day"
        ),
        pytest.param("soon", "'soon' is not a date", id="no day at all"),
    ],
)
def test_it_is_put_off_to_a_day_on_which_it_helps(told: Cast, until: str, said: str) -> None:
    [reminder] = models.Reminder.objects.all()
    client = signed_in(told.ida)
    assert said in text_of(client.post(f"/reminders/{reminder.ref}/", {"until": until}, follow=True))


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
@pytest.mark.parametrize("who", ["ottos_account", "olaf", "ada"])
def test_nobody_else_finds_it(told: Cast, who: str) -> None:
    [reminder] = models.Reminder.objects.all()
    client = signed_in(getattr(told, who))
    assert "Sam" not in text_of(client.get("/reminders/"))
    assert client.post(f"/reminders/{reminder.ref}/").status_code == 404


def test_the_preferences_are_kept(people: Cast) -> None:
    client = signed_in(people.ida)
    sent = {"quiet_from": "22:30", "quiet_until": "06:15", "time_zone": "America/Denver"}
    assert "Preferences saved." in text_of(client.post("/reminders/preferences/", sent, follow=True))
    kept = models.ReminderPreferences.objects.get(user=people.ida)
    assert (kept.quiet_from, kept.quiet_until, kept.time_zone, kept.email) == (
        dt.time(22, 30), dt.time(6, 15), "America/Denver", False,
    )  # fmt: skip
    wrong = client.post("/reminders/preferences/", {**sent, "time_zone": "Mars/Olympus"}, follow=True)
    assert "'Mars/Olympus' is not a time zone" in text_of(wrong)


def test_a_reminder_that_was_read_is_a_notice_that_was_read(told: Cast) -> None:
    mine = models.Notice.objects.get(user=told.sams_account, kind="reminder")
    idas = models.Notice.objects.get(user=told.ida, kind="reminder")
    ref = models.Reminder.objects.get(student=told.sam).ref
    signed_in(told.sams_account).post(f"/reminders/{ref}/")
    mine.refresh_from_db()
    idas.refresh_from_db()
    assert (mine.read_at, idas.read_at) == (THE_DAY, None)
    signed_in(told.ida).post(f"/reminders/{ref}/", {"until": "2026-04-25"})
    idas.refresh_from_db()
    assert idas.read_at == THE_DAY


def test_other_notices_stand_there_and_lead_to_what_they_are_about(told: Cast) -> None:
    lesson = uuid.uuid4()
    notice = models.Notice.objects.create(
        school=told.school,
        student=told.sam,
        user=told.sams_account,
        kind="lesson-signed",
        about=str(lesson),
        at=at("2026-04-17 20:00"),
    )
    mine = signed_in(told.sams_account)
    assert "17 Apr 2026: A lesson of yours was signed." in text_of(mine.get("/reminders/"))
    path = f"/reminders/notices/{notice.pk}/"
    for other in (told.ottos_account, told.ida, told.ada):
        assert signed_in(other).post(path).status_code == 404
    notice.refresh_from_db()
    assert notice.read_at is None
    assert mine.post(path)["Location"] == f"/students/{told.sam.ref}/lessons/{lesson}/"
    notice.refresh_from_db()
    assert notice.read_at == THE_DAY
    assert "View again" in text_of(mine.get("/reminders/"))


def test_an_administrator_sets_the_lead_times_on_the_page(told: Cast) -> None:
    ada, path = signed_in(told.ada), "/reminders/lead-times/lakeside/"
    answer = ada.post(path, {"endorsement": "20, 3", "test": "never", "medical": ""}, follow=True)
    assert "Lead times saved" in text_of(answer)
    assert 'value="20, 3" placeholder="14, 3"' in answer.content.decode()
    own = leads.of_school(told.school)
    assert (own["endorsement"], own["test"], own["medical"]) == ((20, 3), (), (60, 30, 7))
    for sent, said in [
        ({"endorsement": "soon"}, "Endorsements: cannot read “soon”. Enter days such as 60, 30, 7."),
        ({"endorsement": "400"}, "Endorsements: Write different whole days from 0 to"),
        ({"endorsement": "3 3"}, "Endorsements: Write different whole days from 0 to"),
    ]:
        assert said in text_of(ada.post(path, sent, follow=True))
    assert leads.of_school(told.school) == own
    ada.post(path, {"endorsement": ""})
    assert leads.of_school(told.school)["endorsement"] == (14, 3)
    for other in (told.ida, told.olaf, told.sams_account):
        assert signed_in(other).post(path, {"endorsement": "1"}).status_code == 404
    assert ada.post("/reminders/lead-times/hilltop/", {"endorsement": "1"}).status_code == 404


def test_an_administrator_sees_what_will_be_sent_and_others_do_not(told: Cast) -> None:
    shown = text_of(signed_in(told.ada).get("/reminders/ahead/"))
    assert "29 Apr 2026 Sam Example Endorsed in the logbook for solo" in shown
    assert signed_in(told.ida).get("/reminders/ahead/").status_code == 403
    assert "Sam" not in text_of(signed_in(factories.administrator(told.elsewhere)).get("/reminders/ahead/"))


# The calendar


def drawn(user: models.User) -> str:
    answer = signed_in(user).post("/reminders/calendar/")
    [address] = re.findall(
        r'value="http://localhost:8000(/calendars/[\w-]{43}\.ics)"', answer.content.decode()
    )
    return address


def events(address: str) -> list[icalendar.Event]:
    answer = Client().get(address)
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    lines = answer.content.split(b"\r\n")
    assert max(map(len, lines)) <= 75
    assert b"X-PUBLISHED-TTL:PT6H" in lines
    return list(icalendar.Calendar.from_ical(answer.content).walk("VEVENT"))


@pytest.mark.any_database  # others here make these queries on SQLite
def test_a_calendar_has_each_lapse_as_a_whole_day_with_alarms(told: Cast) -> None:
    soon, medical = events(drawn(told.sams_account))
    assert soon.decoded("dtstart") == dt.date(2026, 5, 2)
    assert soon.decoded("dtend") == dt.date(2026, 5, 3)
    assert str(soon["summary"]) == "An endorsement (C172) expires"
    alarms = [each.decoded("trigger") for each in soon.walk("VALARM")]
    assert alarms == [dt.timedelta(days=-14, hours=9), dt.timedelta(days=-3, hours=9)]
    assert str(medical["summary"]) == "A document expires"
    assert "edical" not in medical.to_ical().decode()
    assert [str(each["summary"])[:5] for each in events(drawn(told.ida))] == ["S.E.:", "S.E.:"]


@pytest.mark.any_database  # others here and test_reminders make these queries on SQLite
def test_what_is_renewed_comes_as_cancelled_with_the_same_identity(told: Cast) -> None:
    address = drawn(told.sams_account)
    before, _ = events(address)
    sam(told, solo("2026-02-01"), solo("2026-04-18", "e2"))
    sweep("2026-04-18 19:00")
    gone, new, _ = events(address)
    assert (gone["uid"], int(gone["sequence"]), str(gone["status"])) == (before["uid"], 1, "CANCELLED")
    assert gone.walk("VALARM") == []
    assert new.decoded("dtstart") == dt.date(2026, 7, 17)
    assert new["uid"] != gone["uid"]
    assert gone.decoded("dtstamp") == at("2026-04-18 19:00")


def test_the_same_calendar_is_the_same_bytes(told: Cast) -> None:
    address = drawn(told.sams_account)
    assert Client().get(address).content == Client().get(address).content


def test_an_instructors_own_date_stays_one_event_when_it_is_set_anew(told: Cast) -> None:
    role = models.Role.objects.get(user=told.ida)
    days = {"recent_experience_until": dt.date(2026, 6, 30)}
    people.change(role, days, by=told.ada, at=at("2026-04-18 17:00"))
    address = drawn(told.ida)
    [before] = [each for each in events(address) if "experience" in str(each["summary"])]
    people.change(
        role, {"recent_experience_until": dt.date(2028, 6, 30)}, by=told.ada, at=at("2026-04-18 17:30")
    )
    [after] = [each for each in events(address) if "experience" in str(each["summary"])]
    assert (after["uid"], after.decoded("dtstart")) == (before["uid"], dt.date(2028, 6, 30))
    assert int(after["sequence"]) == int(before["sequence"]) + 1
    assert after.decoded("dtstamp") == at("2026-04-18 17:30")


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
def test_what_ends_of_the_aircraft_stands_in_it_and_is_cancelled_when_renewed(told: Cast) -> None:
    craft = factories.aircraft(told.school, registration="N00XY", model="C172")

    def annual(day: str) -> None:
        done = dt.date.fromisoformat(day)
        aircraft.record(craft.pk, "annual-inspection", done, None, by=told.ada, at=at("2026-04-18 17:00"))

    def of_aircraft(user: models.User) -> list[tuple[str, str, int, int]]:
        return [
            (
                str(each.decoded("dtstart")),
                str(each["status"]),
                int(each["sequence"]),
                len(each.walk("VALARM")),
            )
            for each in events(drawn(user))
            if str(each["summary"]) == "N00XY: Annual inspection expires"
        ]

    annual("2025-05-20")
    for user in (told.ida, told.ada):
        assert of_aircraft(user) == [("2026-05-31", "CONFIRMED", 0, 2)]
    assert of_aircraft(told.sams_account) == of_aircraft(told.olaf) == []
    annual("2026-04-10")
    assert of_aircraft(told.ida) == [
        ("2026-05-31", "CANCELLED", 1, 0),
        ("2027-04-30", "CONFIRMED", 0, 2),
    ]
    annual("2025-05-20")  # the renewal was a slip
    assert of_aircraft(told.ida) == [
        ("2026-05-31", "CONFIRMED", 2, 2),
        ("2027-04-30", "CANCELLED", 1, 0),
    ]


def test_only_the_newest_secret_opens_it_and_it_can_be_closed(told: Cast) -> None:
    first = drawn(told.sams_account)
    second = drawn(told.sams_account)
    assert [Client().get(each).status_code for each in (first, second)] == [404, 200]
    secret = second.removeprefix("/calendars/").removesuffix(".ics")
    assert not models.CalendarFeed.objects.filter(token_hash__contains=secret[:8]).exists()
    signed_in(told.sams_account).post("/reminders/calendar/", {"close": "1"})
    assert Client().get(second).status_code == 404
    third = drawn(told.ida)
    models.User.objects.filter(pk=told.ida.pk).update(is_active=False)
    assert Client().get(third).status_code == 404


def test_a_calendar_shows_whom_one_instructs_now_and_is_noted_once_a_day(told: Cast) -> None:
    address = drawn(told.ida)
    for _ in range(3):
        assert len(events(address)) == 2
    assert models.AccessLog.objects.filter(user=told.ida, via="calendar").count() == 1
    models.Assignment.objects.update(ends=dt.date(2026, 4, 17))
    assert events(address) == []


# The API


def client_of(user: models.User) -> APIClient:
    client = APIClient()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def test_the_api_lists_reads_and_puts_off(told: Cast) -> None:
    client = client_of(told.sams_account)
    [one] = client.get("/api/v1/reminders").json()["reminders"]
    assert (one["last_day"], one["lead_days"], one["read_at"]) == ("2026-05-02", 14, None)
    ref = one["ref"]
    assert client.post(f"/api/v1/reminders/{ref}/read").json()["read_at"] == "2026-04-18T18:00:00Z"
    put_off = client.post(f"/api/v1/reminders/{ref}/snooze", {"until": "2026-04-25"}, format="json")
    assert put_off.json()["snoozed_until"] == "2026-04-25"
    wrong = client.post(f"/api/v1/reminders/{ref}/snooze", {"until": "2026-05-03"}, format="json")
    assert wrong.status_code == 422
    assert wrong.json()["errors"][0]["place"] == "until"
    assert client.get(f"/api/v1/reminders/{uuid.uuid4()}/read").status_code == 405


def test_the_api_tells_an_administrator_what_comes_and_sets_lead_times(told: Cast) -> None:
    client = client_of(told.ada)
    coming = client.get("/api/v1/reminders/coming").json()
    assert [(each["on"], each["lead_days"], each["last_day"]) for each in coming["coming"]] == [
        ("2026-04-29", 3, "2026-05-02")
    ]
    set_ = client.put("/api/v1/reminders/lead-times", {"days": {"endorsement": [10]}}, format="json")
    assert set_.json()["days"]["endorsement"] == [10]
    coming = client.get("/api/v1/reminders/coming").json()
    assert [each["on"] for each in coming["coming"]] == ["2026-04-22"]
    wrong = client.put("/api/v1/reminders/lead-times", {"days": {"endorsement": [400]}}, format="json")
    assert wrong.status_code == 422
    assert wrong.json()["errors"][0]["place"] == "days.endorsement"
    client.put("/api/v1/reminders/lead-times", {"days": {"endorsement": None}}, format="json")
    assert len(client.get("/api/v1/reminders/coming").json()["coming"]) == 1
