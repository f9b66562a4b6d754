"""The people of a school over HTTP: listed, added once however often it is sent, changed, assigned, ended."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from tests.api.conftest import Clients
from tests.api.test_description import fits
from tests.support import factories
from tests.support.cast import Cast
from tests.support.mailing import mails_sent
from tests.support.problems import places, problem
from tests.support.rows import over_rows
from training import models
from training.models import PeopleChange, Role

URL = "/api/v1/people"
NILS = "0b5a1f8e-3c7d-4f7c-9f51-3f1f5d0f9c01"
INA = {
    "school": "lakeside",
    "role": "instructor",
    "name": "Ina Example",
    "email": "ina@lakeside.example",
    "certificate": "0000003CFI",
    "recent_experience_until": "2027-03-31",
    "ratings": [{"category": "airplane", "class": "single-engine land", "instrument": False}],
}
STUDENT = {
    "school": "lakeside",
    "role": "student",
    "name": "Nils Example",
    "id": NILS,
    "birth_date": "2012-05-17",
}


@pytest.fixture
def ada(people: Cast, signed_in: Clients) -> APIClient:
    return signed_in(people.ada)


@pytest.mark.any_database  # others here make these queries on SQLite
def test_an_instructor_signs_as_what_was_sent_or_as_a_flight_instructor(ada: APIClient) -> None:
    for sent, kind in (({}, "flight"), ({"instructor_kind": "ground"}, "ground")):
        added = ada.post(URL, {**INA, "email": f"{kind}@lakeside.example", **sent})
        assert added.status_code == 201
        fits(added.json(), "PersonAdded")
        assert added.json()["person"] is None
        role = factories.accepted(f"{kind}@lakeside.example").roles.get()
        assert ada.get(f"{URL}/{role.pk}").json()["instructor_kind"] == kind
    told = problem(ada.post(URL, {**INA, "instructor_kind": "pilot"}), 422)
    assert [each["place"] for each in told["errors"]] == ["instructor_kind"]


def test_every_role_is_listed_with_what_it_holds(ada: APIClient, people: Cast) -> None:
    answer = ada.get(URL)
    fits(answer.json(), "PersonPage")
    said = {each["email"]: each for each in answer.json()["people"]}
    assert set(said) == {"ida@lakeside.example", "ada@lakeside.example", "sam@lakeside.example"}
    assert said["sam@lakeside.example"]["student"] == str(people.sam.ref)
    assert said["ida@lakeside.example"]["certificate"] == "0000001CFI"
    one = ada.get(f"{URL}/{said['ida@lakeside.example']['id']}")
    fits(one.json(), "Person")
    assert one.json() == said["ida@lakeside.example"]
    problem(ada.get(f"{URL}?school=hilltop"), 403)


def test_a_large_school_comes_in_pages_with_the_same_queries(ada: APIClient, people: Cast) -> None:
    ada.get(URL)
    with CaptureQueriesContext(connection) as few:
        ada.get(URL)
    for _ in range(120):
        factories.student(people.school, user=factories.user())
    with CaptureQueriesContext(connection) as many:
        first = ada.get(URL).json()
    assert len(many) == len(few)
    assert len(first["people"]) == 100
    second = ada.get(first["next"]).json()
    assert len(second["people"]) == 23
    assert second["next"] is None
    assert "cursor" in problem(ada.get(f"{URL}?cursor=cD1h"), 422)["errors"][0]["place"]


def test_an_instructor_is_invited_once_and_then_listed(ada: APIClient, people: Cast) -> None:
    made = ada.post(URL, INA)
    assert made.status_code == 201, made.content
    fits(made.json(), "PersonAdded")
    assert made.json()["mail"] == "Invitation sent to ina@lakeside.example."
    [sent] = mails_sent()
    assert sent.to == ["ina@lakeside.example"]
    assert not models.User.objects.filter(email="ina@lakeside.example").exists()
    again = ada.post(URL, INA)
    assert (again.status_code, again.json()) == (200, {**made.json(), "mail": None})
    assert len(mails_sent()) == 1
    assert PeopleChange.objects.count() == 1
    other = problem(ada.post(URL, {**INA, "certificate": "0000004CFI"}), 409)
    assert "ina@lakeside.example is already invited as an instructor" in other["detail"]
    factories.accepted("ina@lakeside.example")
    there = ada.post(URL, INA)
    assert (there.status_code, there.json()["invitation"]) == (200, None)
    assert there.json()["person"]["certificate"] == "0000003CFI"
    other = problem(ada.post(URL, {**INA, "certificate": "0000004CFI"}), 409)
    assert "Ina Example is already an instructor at Lakeside Flying" in other["detail"]


def test_a_student_without_an_account_is_added_once(ada: APIClient, people: Cast) -> None:
    made = ada.post(URL, STUDENT)
    assert made.status_code == 201, made.content
    fits(made.json(), "PersonAdded")
    assert made.json() == {"person": None, "student": NILS, "invitation": None, "mail": None}
    nils = models.Student.objects.get(ref=NILS)
    assert (nils.name, nils.birth_date, nils.school) == ("Nils Example", dt.date(2012, 5, 17), people.school)
    assert nils.enrolments.count() == 1
    assert ada.post(URL, STUDENT).status_code == 200
    problem(ada.post(URL, {**STUDENT, "name": "Nora Example"}), 409)
    problem(ada.post(URL, {**STUDENT, "email": "nils@lakeside.example"}), 409)
    assert models.Student.objects.filter(school=people.school).count() == 2


def test_a_student_with_an_account_is_listed_with_the_reference(ada: APIClient, people: Cast) -> None:
    made = ada.post(URL, {**STUDENT, "email": "nils@lakeside.example"})
    assert (made.json()["person"], made.json()["student"]) == (None, NILS)
    assert ada.post(URL, {**STUDENT, "email": "nils@lakeside.example"}).status_code == 200
    factories.accepted("nils@lakeside.example")
    again = ada.post(URL, {**STUDENT, "email": "nils@lakeside.example"})
    assert (again.status_code, again.json()["person"]["student"]) == (200, NILS)
    assert Role.objects.filter(user__email="nils@lakeside.example", role="student").count() == 1


@over_rows(
    ("sent", "wrong"),
    [
        ({**INA, "email": "no"}, ["email"]),
        ({**INA, "email": ""}, ["email"]),
        ({**INA, "role": "owner"}, ["role", "certificate", "recent_experience_until", "ratings"]),
        ({**INA, "ratings": [{"category": "airship-ish"}]}, ["ratings[0].category"]),
        ({**INA, "ratings": "all"}, ["ratings"]),
        ({**INA, "birth_date": "2012-05-17"}, ["birth_date"]),
        ({**STUDENT, "id": "nils"}, ["id"]),
        ({**STUDENT, "birth_date": "2199-01-01"}, ["birth_date"]),
        ({**STUDENT, "training_model": "C" * 61}, ["training_model"]),
        ({"school": "lakeside", "role": "student", "name": "N"}, ["id"]),
        ({"school": "lakeside", "role": "administrator", "name": " ", "email": "n@x.example"}, ["name"]),
    ], undo=True)  # fmt: skip
def test_what_cannot_be_added_is_named(ada: APIClient, people: Cast, sent: Any, wrong: list[str]) -> None:
    assert sorted(places(ada.post(URL, sent))) == sorted(wrong)
    assert not PeopleChange.objects.exists()
    assert mails_sent() == []


def test_what_a_role_holds_is_changed_whole(ada: APIClient, people: Cast) -> None:
    pk = Role.objects.get(user=people.ida).pk
    changed = ada.put(f"{URL}/{pk}", {"certificate": "0000009CFI", "ratings": []})
    fits(changed.json(), "Person")
    assert (changed.json()["certificate"], changed.json()["ratings"]) == ("0000009CFI", [])
    assert ada.put(f"{URL}/{pk}", {"certificate": "0000009CFI", "ratings": []}).json() == changed.json()
    assert PeopleChange.objects.count() == 1
    own = Role.objects.get(user=people.ada).pk
    assert places(ada.put(f"{URL}/{own}", {})) == ["role"]


def test_a_role_ends_once_and_the_last_administrator_stays(ada: APIClient, people: Cast) -> None:
    pk = Role.objects.get(user=people.ida).pk
    assert [ada.post(f"{URL}/{pk}/end").status_code for _ in range(2)] == [204, 204]
    assert not Role.objects.filter(pk=pk).exists()
    assert not models.Assignment.objects.filter(instructor=people.ida, ends__isnull=True).exists()
    assert PeopleChange.objects.filter(what="instructor ended").count() == 1
    own = Role.objects.get(user=people.ada).pk
    assert "is the last administrator" in problem(ada.post(f"{URL}/{own}/end"), 409)["detail"]
    problem(ada.post(f"{URL}/987654/end"), 404)


def test_that_a_role_ended_elsewhere_is_not_told(signed_in: Clients, people: Cast) -> None:
    factories.administrator(people.elsewhere)
    theirs = factories.administrator(people.elsewhere)
    pk = Role.objects.get(user=people.olaf).pk
    assert signed_in(theirs).post(f"{URL}/{pk}/end").status_code == 204
    problem(signed_in(people.ada).post(f"{URL}/{pk}/end"), 404)


def test_the_link_goes_out_again_but_not_without_end(ada: APIClient, people: Cast) -> None:
    pk = Role.objects.get(user=people.ida).pk
    answers = [ada.post(f"{URL}/{pk}/link") for _ in range(4)]
    assert [each.status_code for each in answers] == [200, 200, 200, 429]
    fits(answers[0].json(), "PersonLink")
    assert answers[3]["Retry-After"] == "60"
    assert len(mails_sent()) == 3
    models.User.objects.filter(pk=people.ida.pk).update(is_active=False)
    problem(ada.post(f"{URL}/{pk}/link"), 409)


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
def test_an_instructor_is_assigned_once_and_taken_off(
    ada: APIClient, people: Cast, signed_in: Clients
) -> None:
    ada.post(URL, INA)
    ina = factories.accepted("ina@lakeside.example").roles.get().pk
    url = f"/api/v1/students/{people.sam.ref}/assignments"
    theirs = signed_in(models.User.objects.get(email="ina@lakeside.example"))
    problem(theirs.get(url), 404)
    made = ada.post(url, {"instructor": ina, "starts": "2026-01-05"})
    assert made.status_code == 201, made.content
    fits(made.json(), "Assignment")
    assert theirs.get(url).status_code == 200
    again = ada.post(url, {"instructor": ina, "starts": "2026-01-05"})
    assert (again.status_code, again.json()) == (200, made.json())
    assert "teaches Sam Example already" in problem(ada.post(url, {"instructor": ina}), 409)["detail"]
    listed = ada.get(url).json()
    fits(listed, "AssignmentList")
    assert [each["instructor"] for each in listed["assignments"]] == ["Ina Example", "Ida Example"]
    ended = ada.post(f"{url}/{made.json()['id']}/end")
    fits(ended.json(), "Assignment")
    assert ended.json()["ends"] is not None
    assert ada.post(f"{url}/{made.json()['id']}/end").json() == ended.json()
    problem(theirs.get(url), 404)


def test_an_assignment_of_today_is_taken_back(ada: APIClient, people: Cast) -> None:
    ada.post(URL, INA)
    ina = factories.accepted("ina@lakeside.example").roles.get().pk
    url = f"/api/v1/students/{people.sam.ref}/assignments"
    made = ada.post(url, {"instructor": ina}).json()
    ended = ada.post(f"{url}/{made['id']}/end").json()
    first = dt.date.fromisoformat(made["starts"])
    assert dt.date.fromisoformat(ended["ends"]) == first - dt.timedelta(days=1)
    problem(ada.post(f"{url}/{made['id']}/end"), 404)


def test_only_an_instructor_of_the_school_is_assigned(ada: APIClient, people: Cast) -> None:
    url = f"/api/v1/students/{people.sam.ref}/assignments"
    for user in (people.olaf, people.ada):
        pk = Role.objects.get(user=user).pk
        assert places(ada.post(url, {"instructor": pk})) == ["instructor"]
    assert places(ada.post(url, {"instructor": True})) == ["instructor"]
    assert places(ada.post(url, {"instructor": str(uuid.uuid4()), "starts": "soon"})) == [
        "instructor",
        "starts",
    ]
