"""Who vouches for an entry: what a PUT can claim and cannot, what is attested, and what a claim is worth."""

from __future__ import annotations

import datetime as dt
import json
import uuid
from typing import Any

import pytest

from api.v1.base import examples
from syllabus.engine.record import document
from tests.api.conftest import Clients
from tests.support import factories
from tests.support.cast import Cast
from tests.support.factories import CONFIRMED, PASSWORD
from tests.support.problems import places, problem
from tests.training.endorsements.test_endorsements import IDA, ready
from training import models, record
from training.ledger.models import EntryBody
from training.reports.audit import audit
from training.services.people import people as services
from training.services.signing import seals

ON = "2026-06-02"
SOLO = {"id": "e2", "kind": "solo-90-day", "given": "2026-05-31", "aircraft_model": "C172", "instructor": IDA}

#: Who never instructed at the school.
ELSEWHERE = {"name": "Uma Example", "certificate": "0000077CFI"}


def forged() -> dict[str, Any]:
    """All that the first solo asks for, each entry backdated, the endorsements in Ida's name."""
    whole = ready()
    whole["endorsements"] = [*whole["endorsements"], SOLO]
    for part in ("flights", "items", "documents", "tests", "endorsements"):
        whole[part] = [
            {**each, "recorded": "2026-05-31T12:00:00-05:00", "provenance": "signed"} for each in whole[part]
        ]
    return whole


def url(people: Cast, rest: str) -> str:
    return f"/api/v1/students/{people.sam.ref}/{rest}"


def put(client: Any, people: Cast, document: dict[str, Any], **more: Any) -> Any:
    return client.put(url(people, "record"), {**document, **CONFIRMED, **more}, headers={"If-Match": "*"})


def solo(client: Any, people: Cast, **more: str) -> dict[str, Any]:
    asked = {"on": ON, "aircraft_model": "C172", **more}
    answer = client.get(url(people, "eligibility/faa.first-solo"), asked)
    assert answer.status_code == 200, answer.content
    found: dict[str, Any] = answer.json()
    return found


def body(people: Cast, kind: str) -> dict[str, Any]:
    """What the school's ledger says of the one act of a kind."""
    text = EntryBody.objects.get(entry__tree=seals.tree_of(people.school), entry__kind=kind).body
    found: dict[str, Any] = json.loads(text)
    return found


@pytest.fixture
def bo(people: Cast) -> models.User:
    """Another instructor of Sam's, who writes in Ida's name."""
    made = factories.instructor(people.school, name="Bo Example", certificate="0000007CFI")
    factories.assign(made, people.sam)
    return made


class TestAForgedRecord:
    @pytest.mark.any_database  # others here make these queries on SQLite
    def test_makes_nobody_eligible(self, people: Cast, bo: models.User, signed_in: Clients) -> None:
        client = signed_in(bo)
        assert put(client, people, forged()).status_code == 200
        told = solo(client, people)
        assert (told["eligible"], told["eligible_from"]) == (False, None)
        asked = {row["id"] for each in told["requirements"] for row in each["ask"]}
        assert {"e1", "e2", "t1", "medical", "student"} <= asked
        assert False not in [each["met"] for each in told["requirements"]]

    def test_is_met_in_the_stateless_call_and_once_it_is_attested(
        self, people: Cast, bo: models.User, signed_in: Clients
    ) -> None:
        question = {**examples.question(), "record": forged(), "on": ON}
        assert signed_in(bo).post("/api/v1/eligibility", question).json()["eligible"] is True
        text = json.dumps(forged()).replace(IDA["name"], ELSEWHERE["name"])
        whole = json.loads(text.replace(IDA["certificate"], ELSEWHERE["certificate"]))
        put(signed_in(people.ida), people, whole)
        named = [
            {"part": part, "id": each["id"]}
            for part in ("documents", "tests", "endorsements")
            for each in forged()[part]
        ]
        sent = {"entries": named, "saw": "the paper logbook", "confirm_password": PASSWORD}
        done = signed_in(people.ida).post(url(people, "attestations"), sent)
        assert done.status_code == 200, done.content
        assert len(done.json()["attested"]) == len(named)
        assert solo(signed_in(people.ida), people)["eligible"] is True
        assert signed_in(people.ida).post(url(people, "attestations"), sent).json() == {"attested": []}

    @pytest.mark.any_database  # others here make these queries on SQLite
    def test_nobody_attests_in_the_name_of_another_instructor_of_the_school(
        self, people: Cast, bo: models.User, signed_in: Clients
    ) -> None:
        put(signed_in(bo), people, forged())
        for whose in (bo, people.ada):
            sent = {
                "entries": [{"part": "endorsements", "id": "e2"}, {"part": "tests", "id": "t1"}],
                "saw": "the paper logbook",
                "confirm_password": PASSWORD,
            }
            answer = signed_in(whose).post(url(people, "attestations"), sent)
            assert places(answer) == ["entries[0]", "entries[1]"]
        assert {each.provenance for each in record.of(people.sam).endorsements} == {"claimed"}

    @pytest.mark.any_database  # others here make these queries on SQLite
    def test_an_endorsement_from_here_is_not_even_attested_in_ones_own_name(
        self, people: Cast, signed_in: Clients
    ) -> None:
        client = signed_in(people.ida)
        put(client, people, forged())
        sent = {
            "entries": [{"part": "tests", "id": "t1"}, {"part": "endorsements", "id": "e2"}],
            "saw": "the paper logbook",
            "confirm_password": PASSWORD,
        }
        assert places(client.post(url(people, "attestations"), sent)) == ["entries[1]"]
        sent["entries"] = [{"part": "tests", "id": "t1"}]
        assert client.post(url(people, "attestations"), sent).status_code == 200

    def test_was_not_known_before_it_came(self, people: Cast, bo: models.User, signed_in: Clients) -> None:
        client = signed_in(bo)
        put(client, people, forged())
        then = solo(client, people, known_at="2026-06-02T12:00:00Z")
        assert then["eligible"] is False
        assert [row for each in then["requirements"] for row in each["ask"]] == []
        assert [each["met"] for each in then["requirements"] if "endorsement" in each["have"]] == [False] * 2

    def test_is_named_by_the_audit(self, people: Cast, bo: models.User, signed_in: Clients) -> None:
        put(signed_in(bo), people, forged())
        change = models.RecordChange.objects.get()
        found = [
            each.found
            for each in audit(people.school, people.school.day(change.at), at=change.at)
            if each.found.kind == "entry-claimed"
        ]
        assert sorted(each.entries[0] for each in found) == ["e1", "e2", "t1"]
        assert {each.severity for each in found} == {"serious"}
        assert "names Ida Example, who did not sign it here: somebody else added it" in found[0].says

    # others here, test_provenance and test_translation make these queries on SQLite
    @pytest.mark.any_database
    @pytest.mark.parametrize(
        ("instructor", "told"),
        [
            pytest.param({**IDA, "certificate": "9990001CFI"}, True, id="another number"),
            pytest.param({**IDA, "name": "Somebody Else"}, True, id="another name"),
            pytest.param(ELSEWHERE, False, id="of no school here"),
        ],
    )
    def test_what_somebody_else_attested_in_an_instructors_name_is_named_by_the_audit(
        self, people: Cast, bo: models.User, instructor: dict[str, str], told: bool
    ) -> None:
        """As it could be attested before it was refused."""
        given = document.parse(
            {"format": "training-record/1", "endorsements": [{**SOLO, "instructor": instructor}]}
        )
        factories.attested(people.sam, given, by=bo)
        role = models.Role.objects.get(user=people.ida, role=models.Role.Kind.INSTRUCTOR)
        services.end(role, by=people.ada, at=factories.NOON)
        at = dt.datetime(2026, 12, 1, 18, tzinfo=dt.UTC)
        found = [
            each.found
            for each in audit(people.school, people.school.day(at), at=at)
            if each.found.kind == "entry-claimed"
        ]
        assert [(each.entries, each.severity) for each in found] == [(("e2",), "serious")] * told
        assert all("Ida Example of this school" in each.says for each in found)

    @pytest.mark.any_database  # others here make these queries on SQLite
    def test_of_ones_own_entries_the_audit_names_those_of_an_earlier_day(
        self, people: Cast, signed_in: Clients
    ) -> None:
        put(signed_in(people.ida), people, forged())
        change = models.RecordChange.objects.get()
        on = people.school.day(change.at)
        found = [each.found for each in audit(people.school, on, at=change.at)]
        severities = {each.severity for each in found if each.kind == "entry-claimed"}
        assert severities == {"incomplete"}


class TestAReplacement:
    def test_is_never_signed_and_says_so_in_the_ledger(self, people: Cast, signed_in: Clients) -> None:
        client = signed_in(people.ida)
        put(client, people, forged())
        back = client.get(url(people, "record")).json()
        assert {
            each["provenance"] for part in ("flights", "tests", "endorsements") for each in back[part]
        } == {"claimed"}
        sealed = body(people, "record.replaced")
        assert (sealed["by"], sealed["by_name"], sealed["reason"]) == (
            people.ida.pk,
            "Ida Example",
            CONFIRMED["reason"],
        )
        assert sealed["confirmed"] == {"by": "password"}
        added = {(each["part"], each["id"]): each["provenance"] for each in sealed["added"]}
        assert added["endorsements", "e2"] == "claimed"
        assert set(added.values()) == {"claimed"}
        assert sealed["retired"] == []
        assert models.RecordChange.objects.get().ledger_index is not None

    @pytest.mark.parametrize(
        ("more", "status", "place"),
        [
            pytest.param({"confirm_password": "wrong"}, 403, None, id="another password"),
            pytest.param({"confirm_password": None}, 422, "confirm_password", id="nothing that confirms it"),
            pytest.param({"reason": None}, 422, "reason", id="no reason"),
            pytest.param({"reason": "  "}, 422, "reason", id="a blank reason"),
            pytest.param({"reason": "x" * 2001}, 422, "reason", id="too long a reason"),
        ],
    )
    def test_that_is_not_confirmed_with_a_reason_changes_nothing(
        self, people: Cast, signed_in: Clients, more: dict[str, Any], status: int, place: str | None
    ) -> None:
        answer = put(signed_in(people.ida), people, forged(), **more)
        assert problem(answer, status)
        if place:
            assert places(answer) == [place]
        assert not models.RecordChange.objects.exists()
        assert not models.Notice.objects.exists()
        assert record.of(people.sam).flights == ()

    def test_the_student_is_told(self, people: Cast, signed_in: Clients) -> None:
        whole = {**forged(), "student": {"name": "Sam Example", "birth_date": "2006-05-17"}}
        put(signed_in(people.ida), people, whole)
        listed = signed_in(people.sams_account).get("/api/v1/notices").json()["notices"]
        assert [each["kind"] for each in listed] == ["record-changed"]
        mail = models.Delivery.objects.get(kind="notice")
        assert (mail.user, mail.student) == (people.sams_account, people.sam)
        assert "Ida Example changed the training record of Sam Example" in mail.text
        assert CONFIRMED["reason"] in mail.text

    # others here, test_endorsements_end and test_people make these queries on SQLite
    @pytest.mark.any_database
    def test_signed_entries_stay_signed_where_they_are_untouched(
        self, people: Cast, signed_in: Clients
    ) -> None:
        given = {
            "id": str(uuid.uuid4()),
            "kind": "knowledge-test",
            "confirm_password": PASSWORD,
        }
        client = signed_in(people.ida)
        answer = client.post(url(people, "endorsements"), given)
        assert answer.status_code == 201, answer.content
        whole = client.get(url(people, "record")).json()
        assert [each["provenance"] for each in whole["endorsements"]] == ["signed"]
        more = {**whole, "endorsements": [*whole["endorsements"], SOLO]}
        assert put(client, people, more).status_code == 200
        after = client.get(url(people, "record")).json()["endorsements"]
        assert {each["id"]: each["provenance"] for each in after} == {given["id"]: "signed", "e2": "claimed"}
        touched = {**whole["endorsements"][0], "conditions": "day only"}
        problem(put(client, people, {**whole, "endorsements": [touched]}), 409)


class TestABirthDate:
    @pytest.mark.any_database  # others here and test_translation make these queries on SQLite
    def test_belongs_to_the_record_in_time(self, people: Cast, signed_in: Clients) -> None:
        client = signed_in(people.ida)
        younger = {**ready(), "student": {"name": "Sam Example", "birth_date": "2012-05-17"}}
        assert put(client, people, younger).status_code == 200
        change = models.RecordChange.objects.get()
        people.sam.refresh_from_db()
        before = change.at.replace(microsecond=0).isoformat()
        assert record.of(people.sam, known_at=change.at).student.birth_date.isoformat() == "2012-05-17"
        ages = [
            next(each["have"] for each in told["requirements"] if each["id"].endswith(".age"))
            for told in (solo(client, people), solo(client, people, known_at=before))
        ]
        assert ages == ["14 year", "20 year"]
        told = client.get(url(people, "changes"), {"from": before, "to": change.at.isoformat()}).json()
        assert [(each["field"], each["was"], each["now"]) for each in told["person"]] == [
            ("birth_date", "2006-05-17", "2012-05-17")
        ]

    def test_of_a_minor_is_told_to_the_guardians_too(self, people: Cast, signed_in: Clients) -> None:
        models.Student.objects.filter(pk=people.sam.pk).update(birth_date="2012-05-17")
        guardian = factories.guardian(people.sam)
        of_age = {**ready(), "student": {"name": "Sam Example", "birth_date": "2001-05-17"}}
        put(signed_in(people.ida), people, of_age)
        mails = models.Delivery.objects.filter(kind="notice")
        assert {(each.user, each.guardian) for each in mails} == {
            (people.sams_account, None),
            (None, guardian),
        }
        listed = signed_in(people.sams_account).get("/api/v1/notices").json()["notices"]
        assert [each["kind"] for each in listed] == ["name-or-birth-date-changed"]


class TestADocument:
    def sent(self, **more: Any) -> dict[str, Any]:
        paper = {"kind": "medical", "class": "third", "issued": "2026-03-10"}
        return {"id": str(uuid.UUID(int=7)), "document": paper, **more}

    def test_that_nobody_saw_is_a_claim(self, people: Cast, signed_in: Clients) -> None:
        made = signed_in(people.ida).post(url(people, "documents"), self.sent())
        assert (made.status_code, made.json()["entry"]["provenance"]) == (201, "claimed")
        assert body(people, "record.added")["added"][0]["provenance"] == "claimed"

    def test_that_somebody_saw_is_attested_by_that_person(self, people: Cast, signed_in: Clients) -> None:
        seen = self.sent(saw="the original", confirm_password=PASSWORD)
        made = signed_in(people.ida).post(url(people, "documents"), seen)
        assert (made.status_code, made.json()["entry"]["provenance"]) == (201, "attested")
        sealed = body(people, "record.added")
        assert (sealed["by_name"], sealed["saw"], sealed["confirmed"]) == (
            "Ida Example", "the original", {"by": "password"},
        )  # fmt: skip
        again = signed_in(people.ida).post(url(people, "documents"), seen)
        assert (again.status_code, again.json()["entry"]["provenance"]) == (200, "attested")

    def test_is_attested_later_under_its_id(self, people: Cast, signed_in: Clients) -> None:
        client = signed_in(people.ida)
        client.post(url(people, "documents"), self.sent())
        made = client.post(url(people, "documents"), self.sent(saw="the original", confirm_password=PASSWORD))
        assert (made.status_code, made.json()["entry"]["provenance"]) == (200, "attested")
        rows = models.Document.objects.order_by("pk")
        assert [(each.provenance, each.retired_at is None) for each in rows] == [
            ("claimed", False),
            ("attested", True),
        ]

    @pytest.mark.parametrize("sent", ["null", "5", "true", "1e999", '"saw"', '["saw"]'])
    def test_that_is_no_object_is_refused(self, people: Cast, signed_in: Clients, sent: str) -> None:
        answer = signed_in(people.ida).post(
            url(people, "documents"), data=sent, content_type="application/json"
        )
        assert problem(answer, 422)

    @pytest.mark.parametrize(
        ("more", "status", "place"),
        [
            pytest.param({"saw": "the original"}, 422, "confirm_password", id="not confirmed"),
            pytest.param({"confirm_password": PASSWORD}, 422, "saw", id="confirms nothing"),
            pytest.param({"saw": "it", "confirm_password": "wrong"}, 403, None, id="another password"),
        ],
    )
    def test_is_not_put_on_record_by_halves(
        self, people: Cast, signed_in: Clients, more: dict[str, Any], status: int, place: str | None
    ) -> None:
        answer = signed_in(people.ida).post(url(people, "documents"), self.sent(**more))
        assert problem(answer, status)
        if place:
            assert places(answer) == [place]
        assert not models.Document.objects.exists()
