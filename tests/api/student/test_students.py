"""Stored students: who they are, what their records mean, the record out and in."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from api.v1.base.examples import RECORD
from api.v1.student.students import StudentPages
from syllabus.engine.record import document
from syllabus.engine.record.record import Flight, Instructor
from tests.api.conftest import Clients
from tests.api.test_description import fits
from tests.support import factories
from tests.support.cast import Cast
from tests.support.factories import CONFIRMED
from tests.support.problems import not_covered, places, problem
from tests.support.uncovered import refuse
from training import models, reports

URL = "/api/v1/students/"


def of(student: models.Student, rest: str = "") -> str:
    return f"{URL}{student.ref}/{rest}"


def stored(student: models.Student) -> models.Student:
    factories.attested(student, document.parse(RECORD), at=factories.NOON)
    return student


class TestTheList:
    def test_it_pages_without_leaving_anybody_out(self, people: Cast, signed_in: Clients) -> None:
        for _ in range(StudentPages.page_size + 3):
            factories.student(people.school)
        client, url, seen = signed_in(people.ada), URL, []
        while url:
            page = client.get(url).json()
            assert len(page["students"]) <= StudentPages.page_size
            seen += [each["ref"] for each in page["students"]]
            url = page["next"]
        mine = models.Student.objects.filter(school=people.school).values_list("ref", flat=True)
        assert sorted(seen) == sorted(map(str, mine))
        assert len(seen) == StudentPages.page_size + 4

    def test_it_says_who_and_where(self, people: Cast, signed_in: Clients) -> None:
        assert signed_in(people.ida).get(URL).json() == {
            "next": None,
            "previous": None,
            "students": [
                {
                    "ref": str(people.sam.ref),
                    "name": "Sam Example",
                    "training_model": "C172",
                    "school": {"slug": "lakeside", "name": "Lakeside Flying"},
                }
            ],
        }

    @pytest.mark.parametrize(
        ("cursor", "status"),
        [
            pytest.param("nonsense", 404, id="no cursor at all"),
            pytest.param("cD1ub25zZW5zZQ==", 422, id="a cursor at nonsense"),
            pytest.param("cD0lMDA=", 422, id="a cursor at NUL"),
            pytest.param("%00", 422, id="NUL"),
            pytest.param("", 200, id="an empty one, which is the start"),
        ],
    )
    def test_a_cursor_that_was_never_given_is_refused(
        self, people: Cast, signed_in: Clients, cursor: str, status: int
    ) -> None:
        assert signed_in(people.ida).get(f"{URL}?cursor={cursor}").status_code == status


class TestTheOverview:
    def test_it_is_the_report_on_every_milestone(self, people: Cast, signed_in: Clients) -> None:
        stored(people.sam)
        told = signed_in(people.ida).get(of(people.sam, "eligibility?on=2026-07-05")).json()
        assert told == reports.overview(people.sam, dt.date(2026, 7, 5)).as_json()
        assert told["milestones"][0]["context"] == {"aircraft_model": "C172"}

    def test_without_a_day_it_is_today_at_the_school(self, people: Cast, signed_in: Clients) -> None:
        with time_machine.travel(dt.datetime(2026, 7, 5, 3, tzinfo=dt.UTC)):
            client = signed_in(people.ida)
            assert client.get(of(people.sam, "eligibility")).json()["on"] == "2026-07-04"

    def test_what_was_known_then_can_be_asked_again(self, people: Cast, signed_in: Clients) -> None:
        stored(people.sam)
        before = (factories.NOON - dt.timedelta(seconds=1)).isoformat().replace("+", "%2B")
        url = of(people.sam, f"eligibility/faa.first-solo?on=2026-07-05&known_at={before}")
        told = signed_in(people.ida).get(url).json()
        assert {each["id"] for each in told["requirements"] if each["met"]} == {"faa.first-solo.age"}


class TestOneMilestone:
    def test_the_context_comes_from_the_query(self, people: Cast, signed_in: Clients) -> None:
        url = of(
            people.sam,
            "eligibility/faa.solo-cross-country?on=2026-07-05&aircraft_model=PA28&route=KGRB,KMTW"
            "&airport=KM26&area=Chicago&category=airplane&application_date=2026-07-01",
        )
        assert signed_in(people.ida).get(url).json()["context"] == {
            "aircraft_model": "PA28",
            "category": "airplane",
            "application_date": "2026-07-01",
            "route": ["KGRB", "KMTW"],
            "airport": "KM26",
            "area": "Chicago",
        }

    @pytest.mark.any_database  # others here and test_own_minimums make these queries on SQLite
    @pytest.mark.parametrize(
        ("query", "named"),
        [
            pytest.param("on=x", ["on"], id="a day that is none"),
            pytest.param("on=1990-01-01", ["on"], id="a day before the first rule"),
            pytest.param("known_at=2026-07-05", ["known_at"], id="a day for an instant"),
            pytest.param("route=KGRB,KZZZZ", ["route[1]"], id="an airport nobody knows"),
            pytest.param("route=KGRB&route=KMTW", ["route"], id="a route twice"),
            pytest.param("model=C172", ["model"], id="a parameter nobody knows"),
            pytest.param("area=%00", ["area"], id="NUL"),
            pytest.param("aircraft_model=", ["aircraft_model"], id="a blank model"),
            pytest.param("airport=" + "K" * 5000, ["airport"], id="a very long airport"),
        ],
    )
    def test_what_cannot_be_read_is_named(
        self, people: Cast, signed_in: Clients, query: str, named: list[str]
    ) -> None:
        answer = signed_in(people.ida).get(of(people.sam, f"eligibility/faa.first-solo?{query}"))
        assert places(answer) == named

    def test_a_milestone_there_is_none_of_is_not_there(self, people: Cast, signed_in: Clients) -> None:
        problem(signed_in(people.ida).get(of(people.sam, "eligibility/faa.moon")), 404)

    @pytest.mark.any_database  # others here and test_own_minimums make these queries on SQLite
    @pytest.mark.parametrize(
        ("rest", "most"),
        [
            pytest.param("eligibility", 13, id="every milestone, with that of the course"),
            pytest.param("eligibility/faa.private-practical-test", 12, id="one milestone"),
        ],
    )
    @pytest.mark.parametrize("way", ["token", "session"])
    def test_at_most_so_many_queries_whatever_the_size(
        self, people: Cast, signed_in: Clients, rest: str, most: int, way: str
    ) -> None:
        client = signed_in(people.ida if way == "token" else None)
        if way == "session":
            client.force_login(people.ida)
        made = {}
        for size in (1, 10, 1000):  # the first reads the school's settings and rules too
            flights = tuple(
                Flight(
                    id=f"f{number}",
                    date=dt.date(2026, 1, 1) + dt.timedelta(days=number % 150),
                    times={"total": 3_600_000_000, "dual": 3_600_000_000},
                    instructor=Instructor("Ida Example"),
                )
                for number in range(size)
            )
            factories.recorded(people.sam, flights=flights)
            with CaptureQueriesContext(connection) as queries:
                assert client.get(of(people.sam, f"{rest}?on=2026-07-05")).status_code == 200
            made[size] = len(queries)
        assert made[10] == made[1000] <= made[1] <= most


class TestTheRecord:
    @pytest.mark.any_database  # others here make these queries on SQLite
    def test_what_comes_out_goes_in_again_and_changes_nothing(self, people: Cast, signed_in: Clients) -> None:
        client, url = signed_in(people.ida), of(stored(people.sam), "record")
        out = client.get(url)
        plain = document.dump(document.parse(RECORD))
        for part in ("flights", "ground", "items", "documents", "tests", "endorsements", "certificates"):
            plain[part] = [{**each, "provenance": "attested"} for each in plain[part]]
        assert out.json() == plain
        back = client.put(url, out.json() | CONFIRMED, headers={"If-Match": out["ETag"]})
        assert (back.status_code, back.json()) == (200, {"changed": False, "entries": {}})
        assert back["ETag"] == out["ETag"]
        assert client.get(url)["ETag"] == out["ETag"]

    def test_a_change_is_counted_and_gets_a_new_tag(self, people: Cast, signed_in: Clients) -> None:
        client, url = signed_in(people.ida), of(stored(people.sam), "record")
        out = client.get(url)
        changed = out.json()
        changed["flights"][0]["times"]["total"] = "1.5 h"
        changed["tests"] = []
        done = client.put(url, changed | CONFIRMED, headers={"If-Match": out["ETag"]})
        assert done.status_code == 200
        assert done.json()["entries"]["flights"] == {"added": 0, "changed": 1, "removed": 0, "kept": 0}
        assert done.json()["entries"]["tests"] == {"added": 0, "changed": 0, "removed": 1, "kept": 0}
        assert done["ETag"] != out["ETag"]
        after = client.get(url)
        changed["flights"][0]["provenance"] = "claimed"
        assert (after["ETag"], after.json()) == (done["ETag"], changed)
        change = models.RecordChange.objects.get(by=people.ida)
        assert (change.reason, change.confirmed) == (CONFIRMED["reason"], {"by": "password"})

    @pytest.mark.any_database  # others here make these queries on SQLite
    def test_who_comes_second_is_told_so_and_overwrites_nothing(
        self, people: Cast, signed_in: Clients
    ) -> None:
        url = of(stored(people.sam), "record")
        ida, ada = signed_in(people.ida), signed_in(people.ada)
        seen = ida.get(url)
        theirs = {**seen.json(), "tests": []}
        assert ada.put(url, theirs | CONFIRMED, headers={"If-Match": seen["ETag"]}).status_code == 200
        told = ida.put(url, {**seen.json(), "flights": [], **CONFIRMED}, headers={"If-Match": seen["ETag"]})
        assert "Read it again" in problem(told, 412)["detail"]
        assert ida.get(url).json() == theirs

    @pytest.mark.any_database  # others here make these queries on SQLite
    @pytest.mark.parametrize(
        ("tag", "status"),
        [
            pytest.param(None, 428, id="no tag"),
            pytest.param("", 412, id="an empty tag"),
            pytest.param("nonsense", 412, id="nonsense"),
            pytest.param('"sha256:0"', 412, id="another tag"),
            pytest.param('W/"{tag}"', 412, id="a weak tag"),
            pytest.param('"other", "{tag}"', 200, id="one of several"),
            pytest.param("*", 200, id="whatever stands"),
        ],
    )
    def test_a_change_says_what_it_starts_from(
        self, people: Cast, signed_in: Clients, tag: str | None, status: int
    ) -> None:
        client, url = signed_in(people.ida), of(stored(people.sam), "record")
        stands = client.get(url)["ETag"].strip('"')
        headers = {} if tag is None else {"If-Match": tag.replace("{tag}", stands)}
        assert client.put(url, {**RECORD, "tests": [], **CONFIRMED}, headers=headers).status_code == status
        assert len(client.get(url).json()["tests"]) == (0 if status == 200 else 1)

    def test_a_record_with_faults_changes_nothing_and_names_them(
        self, people: Cast, signed_in: Clients
    ) -> None:
        client, url = signed_in(people.ida), of(stored(people.sam), "record")
        before = client.get(url)
        spoilt = {**RECORD, "flights": [{"date": "2026-01-01", "times": {"dual": "x"}}], "test": []}
        answer = client.put(url, spoilt | CONFIRMED, headers={"If-Match": before["ETag"]})
        assert sorted(places(answer)) == ["flights[0].times.dual", "items[0].flight", "test"]
        assert client.get(url)["ETag"] == before["ETag"]

    def test_who_holds_it_already_gets_no_copy(self, people: Cast, signed_in: Clients) -> None:
        client, url = signed_in(people.ida), of(stored(people.sam), "record")
        held = client.get(url)["ETag"]
        same = client.get(url, headers={"If-None-Match": f'"x", W/{held}'})
        assert (same.status_code, same.content, same["ETag"]) == (304, b"", held)
        assert client.get(url, headers={"If-None-Match": '"x"'}).status_code == 200

    def test_an_empty_record_has_a_tag_of_its_own(self, people: Cast, signed_in: Clients) -> None:
        client, url = signed_in(people.ida), of(people.sam, "record")
        tag = client.get(url)["ETag"]
        assert (
            client.put(url, RECORD | CONFIRMED, headers={"If-Match": tag}).json()["entries"]["flights"][
                "added"
            ]
            == 1
        )

    def test_a_student_reads_and_does_not_write(self, people: Cast, signed_in: Clients) -> None:
        client, url = signed_in(people.sams_account), of(stored(people.sam), "record")
        tag = client.get(url)["ETag"]
        problem(client.put(url, {**RECORD, "tests": [], **CONFIRMED}, headers={"If-Match": tag}), 403)
        assert len(client.get(url).json()["tests"]) == 1


class TestTheLog:
    @pytest.mark.parametrize(
        ("rest", "what"),
        [
            pytest.param("", "student", id="who it is"),
            pytest.param("eligibility", "eligibility", id="every milestone"),
            pytest.param("eligibility/faa.first-solo", "eligibility faa.first-solo", id="one milestone"),
            pytest.param("record", "record", id="the record"),
        ],
    )
    def test_every_reading_is_noted(self, people: Cast, signed_in: Clients, rest: str, what: str) -> None:
        assert signed_in(people.ida).get(of(people.sam, rest)).status_code == 200
        noted = models.AccessLog.objects.get()
        assert (noted.user, noted.student, noted.action, noted.what, noted.via) == (
            people.ida, people.sam, "read", what, "api",
        )  # fmt: skip

    def test_every_writing_is_noted_once(self, people: Cast, signed_in: Clients) -> None:
        url = of(people.sam, "record")
        assert (
            signed_in(people.ida).put(url, RECORD | CONFIRMED, headers={"If-Match": "*"}).status_code == 200
        )
        assert [(each.action, each.what) for each in models.AccessLog.objects.all()] == [("write", "record")]

    def test_looking_for_who_may_not_be_seen_leaves_no_reading(
        self, people: Cast, signed_in: Clients
    ) -> None:
        problem(signed_in(people.ida).get(of(people.otto)), 404)
        assert not models.AccessLog.objects.exists()


def test_who_may_not_be_seen_and_who_is_not_there_get_one_answer(people: Cast, signed_in: Clients) -> None:
    client = signed_in(people.ida)
    hidden, missing = client.get(of(people.otto)), client.get(f"{URL}{uuid.uuid4()}/")
    assert problem(hidden, 404) == problem(missing, 404)


def test_an_instructor_sees_a_student_only_while_the_assignment_lasts(
    people: Cast, signed_in: Clients
) -> None:
    bo = factories.instructor(people.school)
    first, last = dt.date(2026, 7, 1), dt.date(2026, 7, 5)
    factories.assign(bo, people.sam, starts=first, ends=last)
    seen = {}
    for on in (dt.date(2026, 6, 30), first, last, dt.date(2026, 7, 6)):
        with time_machine.travel(dt.datetime.combine(on, dt.time(12), dt.UTC)):
            seen[on.isoformat()] = signed_in(bo).get(of(people.sam)).status_code
    assert seen == {"2026-06-30": 404, "2026-07-01": 200, "2026-07-05": 200, "2026-07-06": 404}


def test_who_one_is_comes_with_whether_one_may_write(people: Cast, signed_in: Clients) -> None:
    told: dict[str, Any] = signed_in(people.ida).get(of(people.sam)).json()
    assert (told["birth_date"], told["may_write"]) == ("2006-05-17", True)
    assert signed_in(people.sams_account).get(of(people.sam)).json()["may_write"] is False


# Where the rules end


@pytest.mark.any_database  # others here and test_own_minimums make these queries on SQLite
def test_a_milestone_that_is_not_covered_is_refused_alone_and_named_among_the_others(
    people: Cast, signed_in: Clients, monkeypatch: Any
) -> None:
    refuse(monkeypatch, "faa.first-solo")
    client, at = signed_in(people.ida), f"/api/v1/students/{people.sam.ref}/eligibility"
    told = not_covered(client.get(f"{at}/faa.first-solo"))
    assert [each["place"] for each in told["errors"]] == ["class"]
    overview = client.get(at)
    fits(overview.json(), "Overview")
    assert [each["milestone"] for each in overview.json()["not_covered"]] == ["faa.first-solo"]
    assert "faa.first-solo" not in [each["milestone"] for each in overview.json()["milestones"]]
