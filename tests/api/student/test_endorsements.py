"""Endorsements and papers over HTTP: looked at, given, revoked, listed; every refusal says why."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
import time_machine

from syllabus.engine.record import document
from tests.api.conftest import Clients
from tests.api.test_description import fits
from tests.support import factories
from tests.support.cast import Cast
from tests.support.problems import problem
from tests.support.rows import over_rows
from tests.training.endorsements.test_endorsements import SOLO, TODAY, ready
from training import models

PASSWORD = "a long way round the pattern"


@pytest.fixture(autouse=True)
def noon_of_the_day() -> Any:
    with time_machine.travel(f"{TODAY}T17:00:00Z", tick=False):
        yield


@pytest.fixture
def place(people: Cast) -> str:
    """Sam's endorsements; Sam's record lacks the solo endorsement alone."""
    factories.attested(people.sam, document.parse(ready()), at=factories.NOON)
    for user in (people.ida, people.ada):
        user.set_password(PASSWORD)
        user.save()
    return f"/api/v1/students/{people.sam.ref}/endorsements"


def to_give(**other: Any) -> dict[str, Any]:
    return {
        "id": str(uuid.uuid4()),
        "kind": "solo-90-day",
        "endorsement": SOLO,
        "confirm_password": PASSWORD,
        **other,
    }


def test_the_catalogue_is_told(anyone) -> None:
    told = anyone.get("/api/v1/endorsement-kinds").json()
    fits(told, "EndorsementKindList")
    solo = next(kind for kind in told["kinds"] if kind["kind"] == "solo-90-day")
    assert solo["fields"] == {
        "aircraft_model": "required",
        "similar_model": "optional",
        "training_date": "required",
        "conditions": "optional",
    }
    assert solo["citation"] == "14 CFR 61.87(n)"
    assert (solo["given_by"], solo["tests"]) == ([{"instructor": "flight", "tests": []}], [])
    again = next(kind for kind in told["kinds"] if kind["kind"] == "retest")
    assert again["tests"] == ["knowledge", "practical"]
    assert again["given_by"][1] == {"instructor": "ground", "tests": ["knowledge"]}


def test_it_is_looked_at_before_it_is_given(people, signed_in: Clients, place) -> None:
    answer = signed_in(people.ida).post(f"{place}/check", {"kind": "solo-90-day", "endorsement": SOLO})
    assert answer.status_code == 200
    fits(answer.json(), "EndorsementChecked")
    assert answer.json()["may_be_given"] is True
    assert answer.json()["last_day"] == "2026-08-28"


def test_only_what_was_checked_is_given(people, signed_in: Clients, place) -> None:
    client = signed_in(people.ida)
    checked = client.post(f"{place}/check", {"kind": "solo-90-day", "endorsement": SOLO}).json()
    sent = to_give(checked_hash=checked["checked_hash"])
    for spoilt in ({"endorsement": {**SOLO, "conditions": "None."}}, {"checked_hash": "sha256:" + "0" * 64}):
        told = problem(client.post(place, {**sent, **spoilt}), 409)
        assert "changed after the check" in told["detail"]
        assert told["report"]["kind"] == "solo-90-day"
        assert told["checked_hash"] != {**sent, **spoilt}["checked_hash"]
    assert not models.EndorsementSeal.objects.exists()
    assert client.post(place, sent).status_code == 201


# others here, test_translation and test_signing_by_passkey make these queries on SQLite
@pytest.mark.any_database
def test_what_is_given_is_answered_again_and_listed(people, signed_in: Clients, place) -> None:
    client, sent = signed_in(people.ida), to_give(judgement="Ready.")
    first, again = client.post(place, sent), client.post(place, sent)

    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    fits(first.json(), "EndorsementGiven")
    listed = client.get(place).json()
    fits(listed, "EndorsementList")
    mine = next(each for each in listed["endorsements"] if each["id"] == sent["id"])
    assert (mine["last_day"], mine["signature"]["judgement"]) == ("2026-08-28", "Ready.")
    imported = next(each for each in listed["endorsements"] if each["id"] == "e1")
    assert imported["signature"] is None


def test_the_same_id_for_something_else_is_409(people, signed_in: Clients, place) -> None:
    client, sent = signed_in(people.ida), to_give()
    client.post(place, sent)
    problem(client.post(place, {**sent, "judgement": "Other."}), 409)


def test_what_the_rule_forbids_is_422_with_the_report(people, signed_in: Clients, place) -> None:
    sent = to_give(endorsement={**SOLO, "expires": "2026-08-29"})
    told = problem(signed_in(people.ida).post(place, sent), 422)
    fits(told, "Problem")
    assert [each["place"] for each in told["errors"]] == ["endorsement.expires"]
    assert told["report"]["may_be_given"] is False
    assert "2026-08-28" in told["report"]["refusals"][0]["message"]


UNREADABLE = [
    pytest.param({"kind": "solo-90-days"}, "kind", id="a kind a letter away"),
    pytest.param(
        {"endorsement": {**SOLO, "training_date": "then"}}, "endorsement.training_date", id="no day"
    ),
    pytest.param({"endorsement": {**SOLO, "trainer": "Bo"}}, "endorsement.trainer", id="an unknown field"),
    pytest.param({"endorsement": 1}, "endorsement", id="no object"),
    pytest.param({"id": "f1"}, "id", id="an id that is no UUID"),
    pytest.param({"confirm_password": None}, "confirm_password", id="without the password"),
    pytest.param({"signed": True}, "signed", id="a key that is not known"),
    pytest.param({"judgement": "x" * 2001}, "judgement", id="too many words"),
]


@pytest.mark.any_database  # others here and test_signing_by_passkey make these queries on SQLite
@over_rows(("spoilt", "where"), UNREADABLE, undo=True)
def test_what_cannot_be_read_is_422_with_its_place(
    people, signed_in: Clients, place, spoilt: dict[str, Any], where: str
) -> None:
    told = problem(signed_in(people.ida).post(place, to_give(**spoilt)), 422)
    assert [each["place"] for each in told["errors"]] == [where]


def test_a_wrong_password_signs_nothing(people, signed_in: Clients, place) -> None:
    problem(signed_in(people.ida).post(place, to_give(confirm_password="guessed")), 403)
    assert not models.EndorsementSeal.objects.exists()


@pytest.mark.any_database  # others here and test_contract make these queries on SQLite
def test_guessing_at_the_password_takes_long(people, signed_in: Clients, place) -> None:
    client = signed_in(people.ida)
    for _ in range(5):
        problem(client.post(place, to_give(confirm_password="guessed")), 403)
    assert "Wait five minutes" in problem(client.post(place, to_give()), 429)["detail"]
    assert client.get(place).status_code == 200


def test_somebody_who_has_no_password_signs_nothing(people, signed_in: Clients, place) -> None:
    people.ida.set_unusable_password()
    people.ida.save()
    for typed in ("", "!", people.ida.password):
        problem(signed_in(people.ida).post(place, to_give(confirm_password=typed)), 403)


def test_nothing_personal_of_a_school_stands_in_another(people, signed_in: Clients, place) -> None:
    problem(signed_in(people.olaf).post(place, to_give()), 404)
    problem(signed_in(people.olaf).post(f"{place}/check", {"kind": "retest"}), 404)


# others here, test_signing_by_passkey and test_translation make these queries on SQLite
@pytest.mark.any_database
def test_an_administrator_signs_nothing_and_revokes(people, signed_in: Clients, place) -> None:
    problem(signed_in(people.ada).post(place, to_give()), 403)
    sent = to_give()
    signed_in(people.ida).post(place, sent)
    end = {"reason": "Two hard landings", "confirm_password": PASSWORD}
    revoked = signed_in(people.ada).post(f"{place}/{sent['id']}/revoke", end)

    assert revoked.status_code == 200
    fits(revoked.json(), "EndorsementRevoked")
    assert "expires" not in revoked.json()["was"]
    [told] = [
        each for each in signed_in(people.ida).get(place).json()["endorsements"] if each["id"] == sent["id"]
    ]
    assert told["last_day"] == "2026-06-01"
    assert told["revocation"]["reason"] == "Two hard landings"
    assert told["signature"]["by"] == "Ida Example"
    assert signed_in(people.ada).post(f"{place}/{sent['id']}/revoke", end).json() == revoked.json()
    problem(signed_in(people.ada).post(f"{place}/{sent['id']}/revoke", {**end, "reason": "Other"}), 409)
    problem(signed_in(people.ada).post(f"{place}/{uuid.uuid4()}/revoke", end), 404)
    problem(signed_in(people.ada).post(f"{place}/{sent['id']}/revoke", {**end, "confirm_password": "x"}), 403)


# others here, test_signing_by_passkey and test_endorsements_end make these queries on SQLite
@pytest.mark.any_database
def test_a_record_that_leaves_out_a_sealed_endorsement_is_409(people, signed_in: Clients, place) -> None:
    client, sent = signed_in(people.ida), to_give()
    client.post(place, sent)
    whole = client.get(place.replace("endorsements", "record")).json()
    told = problem(
        client.put(
            place.replace("endorsements", "record"),
            {**whole, "endorsements": [], "reason": "from the logbook", "confirm_password": PASSWORD},
            headers={"If-Match": "*"},
        ),
        409,
    )
    assert sent["id"] in told["detail"]


# Documents and tests


@pytest.mark.any_database  # others here and test_provenance make these queries on SQLite
def test_a_medical_has_its_last_day_for_each_privilege(people, signed_in: Clients, place) -> None:
    client, there = signed_in(people.ida), place.replace("endorsements", "documents")
    sent = {
        "id": str(uuid.uuid4()),
        "document": {"kind": "medical", "class": "third", "issued": "2026-03-10"},
    }
    first, again = client.post(there, sent), client.post(there, sent)

    assert (first.status_code, again.status_code) == (201, 200)
    fits(first.json(), "PaperListed")
    assert first.json() == again.json()
    # 14 CFR 61.23(d): under 40 at the examination, the end of the 60th month after it
    assert {(each["requirement"], each["last_day"]) for each in first.json()["good_for"]} == {
        ("faa.first-solo.medical", "2031-03-31"),
        ("faa.private-practical-test.medical", "2031-03-31"),
    }
    listed = client.get(there).json()
    fits(listed, "PaperList")
    assert sent["id"] in [each["entry"]["id"] for each in listed["papers"]]
    problem(client.post(there, {**sent, "document": {**sent["document"], "issued": "2026-03-11"}}), 409)


def test_a_medical_of_somebody_of_forty_ends_sooner(people, signed_in: Clients, place) -> None:
    models.Student.objects.filter(pk=people.sam.pk).update(birth_date="1986-03-10")
    sent = {
        "id": str(uuid.uuid4()),
        "document": {"kind": "medical", "class": "third", "issued": "2026-03-10"},
    }
    answer = signed_in(people.ida).post(place.replace("endorsements", "documents"), sent)
    assert {each["last_day"] for each in answer.json()["good_for"]} == {"2028-03-31"}


def test_a_knowledge_test_has_its_result_and_last_day(people, signed_in: Clients, place) -> None:
    test = {"kind": "knowledge:private-airplane", "date": "2024-05-03", "result": "pass", "score": 88}
    answer = signed_in(people.ida).post(
        place.replace("endorsements", "documents"), {"id": str(uuid.uuid4()), "test": test}
    )
    # 14 CFR 61.39(a)(1): the 24th calendar month after the test
    [good] = answer.json()["good_for"]
    assert (good["requirement"], good["last_day"], good["met"]) == (
        "faa.private-practical-test.knowledge-test",
        "2026-05-31",
        False,
    )


NOT_FILED = [
    pytest.param(
        {"document": {"kind": "citizenship-evidence", "issued": TODAY}}, "document.remarks", id="shown what?"
    ),
    pytest.param({"document": {"kind": "medical", "issued": TODAY}}, "document.class", id="of which class?"),
    pytest.param(
        {"document": {"kind": "english-proficiency", "issued": "2026-06-03"}},
        "document.issued",
        id="of tomorrow",
    ),
    pytest.param(
        {"document": {"kind": "medical", "class": "third", "issued": TODAY, "id": "d1"}},
        "document.id",
        id="an id of its own inside",
    ),
    pytest.param({}, "", id="neither document nor test"),
    pytest.param(
        {"test": {"kind": "pre-solo-knowledge", "date": TODAY, "result": "good"}},
        "test.result",
        id="with what result?",
    ),
]


@pytest.mark.any_database  # others here make these queries on SQLite
@over_rows(("sent", "where"), NOT_FILED, undo=True)
def test_a_paper_that_cannot_be_filed_is_422(
    people, signed_in: Clients, place, sent: dict[str, Any], where: str
) -> None:
    answer = signed_in(people.ida).post(
        place.replace("endorsements", "documents"), {"id": str(uuid.uuid4()), **sent}
    )
    told = problem(answer, 422)
    assert [each["place"] for each in told["errors"]] == [where]


def test_proof_of_citizenship_says_what_was_shown(people, signed_in: Clients, place) -> None:
    sent = {
        "id": str(uuid.uuid4()),
        "document": {"kind": "citizenship-evidence", "issued": TODAY, "remarks": "US passport, shown"},
    }
    answer = signed_in(people.ida).post(place.replace("endorsements", "documents"), sent)
    assert answer.status_code == 201
    assert answer.json()["good_for"] == []
