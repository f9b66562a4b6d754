"""A record handed over, taken over, held and erased over HTTP; and what changed between two instants."""

from __future__ import annotations

import base64
import datetime as dt
import hashlib
from typing import Any

import pytest
import time_machine
from rest_framework.test import APIClient

from tests.api.conftest import Clients
from tests.support import factories, handing, lessons
from tests.support.cast import Cast
from tests.support.kept import kept
from tests.support.passkeys import Passkey
from training import models, record
from training.ledger.core import assertions
from training.ledger.models import Entry as Leaf
from training.ledger.verify import handover as packages
from training.services.signing import reauthentication
from training.services.transfer import handover

TAKE = "/api/v1/students/take-over"
AFTER = dt.datetime(2029, 3, 4, 18, tzinfo=dt.UTC)


def url(people: Cast, what: str) -> str:
    return f"/api/v1/students/{people.sam.ref}/{what}"


@kept
def trained(people: Cast) -> Cast:
    handing.trained(people)
    return people


def post(client: APIClient, where: str, body: Any = None) -> Any:
    return client.post(where, body if body is not None else {}, format="json")


# others here, test_translation and test_school_enrolments make these queries on SQLite
@pytest.mark.any_database
def test_a_student_takes_the_whole_record_away(trained: Cast, signed_in: Clients) -> None:
    answer = signed_in(trained.sams_account).post(url(trained, "hand-over"))
    assert answer.status_code == 200, answer.content
    raw = base64.b64decode(answer.json()["file"])
    assert len(raw) == answer.json()["bytes"]
    assert packages.check(raw).whole
    assert models.AccessLog.objects.filter(what="hand-over", user=trained.sams_account).exists()


@pytest.mark.any_database  # others here and test_contract make these queries on SQLite
def test_another_school_takes_it_over_and_brings_it_up_to_date(trained: Cast, signed_in: Clients) -> None:
    raw, kid = handing.made(trained)
    handing.forget_the_key()
    client = signed_in(factories.administrator(trained.elsewhere))
    body: dict[str, Any] = {
        "school": "hilltop",
        "file": base64.b64encode(raw).decode(),
        "reason": "new here",
        "confirm_password": factories.PASSWORD,
    }
    refused = post(client, TAKE, body)
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["place"] == "ledger.json: keys"
    assert kid in refused.json()["errors"][0]["message"]
    taken = post(client, TAKE, {**body, "trust": [kid]})
    assert taken.status_code == 201, taken.content
    assert taken.json()["origin"] == {
        "school": "Lakeside Flying",
        "ledger": f"school-{trained.school.pk}",
        "student": str(trained.sam.ref),
        "key": kid,
        "signed_at": handing.AT.isoformat(),
        "rulebook": packages.check(raw).manifest["about"]["rulebook"],
        "sealed_entries": 8,
    }
    listed = client.get(f"/api/v1/students/{taken.json()['student']}/origins").json()
    assert [each["school"] for each in listed["hand_overs"]] == ["Lakeside Flying"]
    assert [(each["index"], each["key"], each["verified"]) for each in listed["entries"]] == [
        (index, kid, True) for index in range(8)
    ]
    again = post(client, TAKE, {**body, "trust": [kid]})
    assert (again.status_code, again.json()["changed"], again.json()["origin"]) == (200, False, None)


@kept
def newer(trained: Cast) -> tuple[models.Student, bytes]:
    """Sam as taken over at the other school, and the file of the day on which there was more to tell."""
    raw, kid = handing.made(trained)
    by = factories.administrator(trained.elsewhere)
    taken = handover.take(
        raw, school=trained.elsewhere, trust=[kid], by=by, at=handing.AT, via="command", reason="new"
    )
    lessons.signed(trained, lessons.flown(remarks="one more"), lesson="S1-L4")
    return taken.student, handing.made(trained, at=handing.AT + dt.timedelta(days=2))[0]


def test_what_changes_a_stored_record_is_confirmed_and_says_why(
    newer: tuple[models.Student, bytes], people: Cast, signed_in: Clients
) -> None:
    student, raw = newer
    by = factories.administrator(people.elsewhere)
    client = signed_in(by)
    body = {"school": "hilltop", "file": base64.b64encode(raw).decode()}
    why = {"reason": "as it is there now"}
    stood = record.fingerprint(record.of(student))

    def refused(status: int, **more: Any) -> str:
        answer = post(client, TAKE, {**body, **more})
        assert answer.status_code == status, answer.content
        assert record.fingerprint(record.of(student)) == stood
        return " ".join([each["place"] for each in answer.json().get("errors", [])])

    assert refused(422, confirm_password=factories.PASSWORD) == "reason"
    assert refused(422, **why) == "confirm_password"
    refused(403, **why, confirm_password="not hers")
    done = post(client, TAKE, {**body, **why, "confirm_password": factories.PASSWORD})
    assert (done.status_code, done.json()["changed"]) == (200, True)
    change = models.RecordChange.objects.filter(student=student).latest("pk")
    assert (change.by, change.reason, change.confirmed) == (by, why["reason"], {"by": "password"})


def test_a_passkey_confirms_the_very_file_and_is_checked_in_the_ledger(
    newer: tuple[models.Student, bytes], people: Cast, signed_in: Clients
) -> None:
    student, raw = newer
    by, passkey = factories.administrator(people.elsewhere), Passkey()
    passkey.added_to(by)

    def sent(content: bytes) -> Any:
        digest = "sha256:" + hashlib.sha256(content).hexdigest()
        _, said = reauthentication.content_of({"reason": "as it is there now", "sent": digest})
        answer = passkey.signs("record.taken-over", student.ref, "record", said)
        body = {"school": "hilltop", "file": base64.b64encode(raw).decode()}
        return post(signed_in(by), TAKE, {**body, "reason": "as it is there now", "passkey": answer})

    assert sent(raw + b"\0").status_code == 403
    done = sent(raw)
    assert done.status_code == 200, done.content
    made = models.HandOver.objects.filter(student=student).latest("pk")
    leaf = Leaf.objects.get(tree=made.ledger_tree, index=made.ledger_index)
    assert leaf.kept.value["confirmed"]["by"] == "passkey"
    assert assertions.entry_fault(leaf.kind, leaf.subject, leaf.kept.value) == ""


def test_a_new_student_is_confirmed_too_by_a_passkey_over_the_keys_that_are_trusted(
    trained: Cast, signed_in: Clients
) -> None:
    raw, kid = handing.made(trained)
    handing.forget_the_key()
    by, passkey = factories.administrator(trained.elsewhere), Passkey()
    passkey.added_to(by)
    client = signed_in(by)
    digest = "sha256:" + hashlib.sha256(raw).hexdigest()
    body = {"school": "hilltop", "file": base64.b64encode(raw).decode(), "trust": [kid]}

    def sent(**said: Any) -> Any:
        _, content = reauthentication.content_of({"reason": "new here", "sent": digest, **said})
        answer = passkey.signs("record.taken-over", trained.sam.ref, "record", content)
        return post(client, TAKE, {**body, "reason": "new here", "passkey": answer})

    assert post(client, TAKE, body).status_code == 422
    assert post(client, TAKE, {**body, "reason": "new here"}).status_code == 422
    assert sent().status_code == 403, "the trusted key is no part of what was signed"
    assert not models.HandOver.objects.exists()
    done = sent(trust=[kid])
    assert done.status_code == 201, done.content
    made = models.HandOver.objects.get()
    leaf = Leaf.objects.get(tree=made.ledger_tree, index=made.ledger_index)
    assert leaf.kept.value["confirmed"]["by"] == "passkey"
    assert assertions.entry_fault(leaf.kind, leaf.subject, leaf.kept.value) == ""
    changed = {**leaf.kept.value, "trust": ["another"]}
    assert assertions.entry_fault(leaf.kind, leaf.subject, changed) != ""


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(
    ("body", "place"),
    [
        pytest.param({"file": "UEs="}, "school", id="no school"),
        pytest.param({"school": "lakeside"}, "file", id="no file"),
        pytest.param({"school": "lakeside", "file": "ü"}, "file", id="no base64"),
        pytest.param({"school": "lakeside", "file": "UEs=", "trust": "x"}, "trust", id="no list of keys"),
        pytest.param({"school": "lakeside", "file": "UEs=", "trusts": []}, "trusts", id="an unknown key"),
    ],
)
def test_what_cannot_be_read_is_named(people: Cast, signed_in: Clients, body, place) -> None:
    why = {"reason": "new here", "confirm_password": factories.PASSWORD}
    answer = post(signed_in(people.ada), TAKE, {**why, **body})
    assert answer.status_code == 422
    assert [each["place"] for each in answer.json()["errors"]] == [place]


def test_a_hold_keeps_the_record_until_it_is_released(trained: Cast, signed_in: Clients) -> None:
    client = signed_in(trained.ada)
    held = post(client, url(trained, "holds"), {"reason": "a dispute"})
    assert held.status_code == 201, held.content
    kept = client.get(url(trained, "retention")).json()
    assert [each["reason"] for each in kept["holds"]] == ["a dispute"]
    assert kept["may_be_erased"] is False
    released = post(client, url(trained, f"holds/{held.json()['id']}/release"), {"reason": "settled"})
    assert (released.status_code, released.json()["released_reason"]) == (200, "settled")
    assert client.get(url(trained, "retention")).json()["holds"] == []
    assert post(client, url(trained, "holds/999999/release"), {"reason": "x"}).status_code == 404


@pytest.mark.any_database  # others here, test_erasure and test_contract make these queries on SQLite
def test_an_erasure_is_shown_first_refused_before_its_day_and_done_after(
    trained: Cast, signed_in: Clients
) -> None:
    body = {"reason": "asked for", "really": True}
    shown = post(signed_in(trained.ada), url(trained, "erasure"), {"reason": "asked for"}).json()
    assert shown["would_erase"]["sealed_bodies"] == 7
    assert "14 CFR 61.189(c)" in [each["citation"] for each in shown["rules"]]
    with time_machine.travel(AFTER - dt.timedelta(days=1), tick=False):
        early = post(signed_in(trained.ada), url(trained, "erasure"), body)
        assert early.status_code == 409
        assert "until 2029-03-03" in early.json()["detail"]
    assert models.Flight.objects.filter(student=trained.sam).exists()
    with time_machine.travel(AFTER, tick=False):
        client = signed_in(trained.ada)
        done = post(client, url(trained, "erasure"), body)
        assert done.status_code == 200, done.content
        assert done.json()["erased_at"].startswith("2029-03-04")
        after = client.get(url(trained, "retention")).json()
        assert after["would_erase"] == {"rows": {}, "sealed_bodies": 0, "accounts": 0}
        assert client.get(url(trained, "record")).json()["flights"] == []
        assert (
            client.put(
                url(trained, "record"),
                {"format": "training-record/1"},
                format="json",
                headers={"If-Match": "*"},
            ).status_code
            == 403
        )


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
def test_changes_between_two_instants_in_words(trained: Cast, signed_in: Clients) -> None:
    client = signed_in(trained.ida)
    at = (lessons.AT + dt.timedelta(days=1)).isoformat()
    answer = client.get(url(trained, "changes"), {"from": "2026-03-01T12:00:00Z", "to": at})
    assert answer.status_code == 200, answer.content
    told = answer.json()
    assert (told["from"]["on"], told["to"]["on"]) == ("2026-03-01", "2026-03-04")
    assert "Flight of 2026-03-02, 1.4 h in N00XY was added." in [each["words"] for each in told["entries"]]
    assert all(each["because"] in ("record", "time") for each in told["requirements"])


@pytest.mark.parametrize(
    ("asked", "place"),
    [
        pytest.param({}, "from", id="no instant"),
        pytest.param({"from": "2026-03-01"}, "from", id="a day is no instant"),
        pytest.param(
            {"from": "2026-03-15T00:00:00Z", "to": "2026-03-01T00:00:00Z"}, "to", id="the wrong way round"
        ),
    ],
)
def test_instants_that_cannot_be_are_named(people: Cast, signed_in: Clients, asked, place) -> None:
    answer = signed_in(people.ida).get(url(people, "changes"), asked)
    assert answer.status_code == 422
    assert [each["place"] for each in answer.json()["errors"]] == [place]
