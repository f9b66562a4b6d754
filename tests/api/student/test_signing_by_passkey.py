"""A signature confirmed by a passkey: sealed and checked offline where it holds, else refused with words."""

from __future__ import annotations

import copy
import datetime as dt
import json
import uuid
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
import time_machine
from django.db import connection, transaction

from tests.api.conftest import Clients
from tests.support.cast import Cast
from tests.support.lessons import CONTENT, content, take_out
from tests.support.passkeys import ATTESTED, PRESENT, VERIFIED, Passkey
from tests.support.problems import places, problem
from training import models
from training.ledger.core import assertions
from training.ledger.models import Entry
from training.ledger.store.export import export
from training.ledger.verify import command
from training.services.lessons import lesson_audit
from training.services.signing import nonces, reauthentication, seals

PASSWORD = "three words of Ida"
OTHER = "sha256:" + "0" * 64
OTHER = "sha256:" + "0" * 64
NOW = dt.datetime(2026, 6, 1, 15, tzinfo=dt.UTC)
SOLO = {"aircraft_model": "C172", "training_date": "2026-05-30", "conditions": "Wind at most 8 kt."}


@pytest.fixture(autouse=True)
def the_day() -> Any:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def people(people: Cast) -> Cast:
    people.ida.set_password(PASSWORD)
    people.ida.save()
    return people


@pytest.fixture
def tablet(people: Cast) -> Passkey:
    """Ida's passkey."""
    made = Passkey()
    made.added_to(people.ida)
    return made


@pytest.fixture
def taken_out(transactional_db: None) -> Iterator[None]:
    """An export is made outside a transaction; what was sealed for it is taken out again."""
    yield
    take_out()


class Lessons:
    """Ida's drafts about Sam, and their signing."""

    def __init__(self, client: Any, people: Cast):
        self.client, self.ref = client, people.sam.ref
        self.url = f"/api/v1/students/{self.ref}/lesson-records"

    def draft(self, said: Any = CONTENT) -> tuple[str, str]:
        key = str(uuid.uuid4())
        made = self.client.post(self.url, {"id": key, "lesson": "S1-L3", "content": said})
        assert made.status_code == 201, made.content
        return key, made.json()["content_hash"]

    def sign(self, key: str, digest: str, passkey: Any = None, **more: Any) -> Any:
        body = {"content_hash": digest, **({"passkey": passkey} if passkey else {}), **more}
        return self.client.post(f"{self.url}/{key}/sign", body)

    def signed_by(self, passkey: Passkey, key: str, digest: str, **how: Any) -> Any:
        return self.sign(key, digest, passkey.signs("lesson.signed", self.ref, key, digest, **how))


@pytest.fixture
def lessons(people: Cast, signed_in: Clients) -> Lessons:
    return Lessons(signed_in(people.ida), people)


def offline(people: Cast) -> command.Verdict:
    """What the offline verifier finds in an export of all that is sealed, gone through a file's text."""
    exported = export(seals.tree_of(people.school), at=NOW)
    return command.check(json.loads(json.dumps(exported)))


@pytest.mark.usefixtures("taken_out")
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("algorithm", ["ES256", "EdDSA", "RS256"])
def test_what_a_passkey_signed_is_sealed_kept_and_checked_offline(
    people: Cast, lessons: Lessons, algorithm: str
) -> None:
    passkey = Passkey(algorithm)
    passkey.added_to(people.ida)
    strip = {"name": "grass strip", "lat": 44.31, "lon": -89.0}
    said = content(flight={**copy.deepcopy(CONTENT["flight"]), "route": ["KGRB", strip, "KGRB"]})
    key, digest = lessons.draft(said)
    answer = lessons.signed_by(passkey, key, digest)
    assert answer.status_code == 200, answer.content

    signed = models.SignOff.objects.get()
    sealed = Entry.objects.get(index=signed.ledger_index).kept.value
    assert sealed["confirmed"] == signed.confirmed
    assert signed.confirmed["by"] == "passkey"
    assert signed.confirmed["credential"] == assertions.encode(passkey.id)
    assert signed.confirmed["statement"]["content_hash"] == digest
    found = offline(people)
    assert (found.faults, found.passkeys) == ([], 1)
    assert "Signed with a passkey, and checked: 1 of them." in "\n".join(command.report(found, []))
    assert list(lesson_audit.faults(people.school)) == []


@pytest.mark.any_database  # others here and test_signing_authority make these queries on SQLite
@pytest.mark.usefixtures("taken_out")
@pytest.mark.django_db(transaction=True)
def test_by_password_as_before_and_the_entry_says_so(people: Cast, lessons: Lessons) -> None:
    key, digest = lessons.draft()
    assert lessons.sign(key, digest, confirm_password=PASSWORD).status_code == 200
    assert models.SignOff.objects.get().confirmed == {"by": "password"}
    found = offline(people)
    assert (found.faults, found.passkeys) == ([], 0)


def other_record(lessons: Lessons, tablet: Passkey, key: str, digest: str) -> Any:
    return tablet.signs("lesson.signed", lessons.ref, uuid.uuid4(), digest)


REFUSED = {
    "an answer over another grade": (
        lambda lessons, tablet, key, digest: tablet.signs("lesson.signed", lessons.ref, key, OTHER),
        "The passkey signed something else than this.",
    ),
    "an answer for another record of the same content": (
        other_record,
        "The passkey signed something else than this.",
    ),
    "an answer about another student": (
        lambda lessons, tablet, key, digest: tablet.signs("lesson.signed", uuid.uuid4(), key, digest),
        "The passkey signed something else than this.",
    ),
    "an answer for another act": (
        lambda lessons, tablet, key, digest: tablet.signs("lesson.acknowledged", lessons.ref, key, digest),
        "The passkey signed something else than this.",
    ),
    "nobody verified": (
        lambda lessons, tablet, key, digest: tablet.signs(
            "lesson.signed", lessons.ref, key, digest, flags=PRESENT
        ),
        "The passkey did not make sure who used it",
    ),
    "nobody present": (
        lambda lessons, tablet, key, digest: tablet.signs(
            "lesson.signed", lessons.ref, key, digest, flags=VERIFIED
        ),
        "The passkey did not make sure who used it",
    ),
    "another origin": (
        lambda lessons, tablet, key, digest: tablet.signs(
            "lesson.signed", lessons.ref, key, digest, origin="https://testserver.example"
        ),
        "The passkey was used on 'https://testserver.example', and this is 'http://testserver'.",
    ),
    "another port": (
        lambda lessons, tablet, key, digest: tablet.signs(
            "lesson.signed", lessons.ref, key, digest, origin="http://testserver:81"
        ),
        "The passkey was used on 'http://testserver:81'",
    ),
    "another domain": (
        lambda lessons, tablet, key, digest: tablet.signs(
            "lesson.signed", lessons.ref, key, digest, rp="elsewhere.example"
        ),
        "The passkey belongs to another site than it says.",
    ),
    "the answer of a registration": (
        lambda lessons, tablet, key, digest: tablet.signs(
            "lesson.signed", lessons.ref, key, digest, asked="webauthn.create"
        ),
        "The passkey was asked for something other than a signature.",
    ),
    "a passkey that nobody added": (
        lambda lessons, tablet, key, digest: Passkey().signs("lesson.signed", lessons.ref, key, digest),
        "This passkey does not belong to your account.",
    ),
}


@pytest.mark.any_database  # others here and test_sign_offs make these queries on SQLite
@pytest.mark.parametrize(("made", "says"), REFUSED.values(), ids=REFUSED)
def test_what_does_not_hold_signs_nothing_and_says_why(
    people: Cast, lessons: Lessons, tablet: Passkey, made: Any, says: str
) -> None:
    key, digest = lessons.draft()
    told = problem(lessons.sign(key, digest, made(lessons, tablet, key, digest)), 403)
    assert says in told["detail"]
    assert "Nothing was signed." in told["detail"]
    assert not models.SignOff.objects.exists()
    assert not Entry.objects.exists()
    assert lessons.signed_by(tablet, key, digest).status_code == 200


def test_another_users_passkey_signs_nothing(people: Cast, lessons: Lessons) -> None:
    adas = Passkey()
    adas.added_to(people.ada)
    key, digest = lessons.draft()
    told = problem(lessons.signed_by(adas, key, digest), 403)
    assert "does not belong to your account" in told["detail"]
    assert not models.SignOff.objects.exists()


@pytest.mark.any_database  # others here and test_planted_ids make these queries on SQLite
@pytest.mark.parametrize("part", ["clientDataJSON", "authenticatorData", "signature"])
def test_one_changed_byte_of_an_answer_signs_nothing(
    people: Cast, lessons: Lessons, tablet: Passkey, part: str
) -> None:
    key, digest = lessons.draft()
    answer = tablet.signs("lesson.signed", lessons.ref, key, digest)
    data = bytearray(assertions.decode(answer["response"][part]))
    data[-1] ^= 1
    answer["response"][part] = assertions.encode(bytes(data))
    problem(lessons.sign(key, digest, answer), 403)
    assert not models.SignOff.objects.exists()


@pytest.mark.any_database  # others here and test_sign_offs make these queries on SQLite
def test_a_signature_is_over_the_draft_as_it_stands(lessons: Lessons, tablet: Passkey) -> None:
    key, digest = lessons.draft()
    answer = tablet.signs("lesson.signed", lessons.ref, key, digest)
    changed = content(items=[{"item": "presolo.d-01", "grade": "practice", "remarks": ""}])
    put = lessons.client.put(
        f"{lessons.url}/{key}", {"lesson": "S1-L3", "content": changed}, headers={"If-Match": '"1"'}
    )
    assert put.status_code == 200
    told = problem(lessons.sign(key, put.json()["content_hash"], answer), 403)
    assert "signed something else" in told["detail"]
    problem(lessons.sign(key, digest, answer), 409)
    assert not models.SignOff.objects.exists()


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
def test_the_same_again_gives_the_same_answer_whatever_was_signed_in_between(
    lessons: Lessons, tablet: Passkey
) -> None:
    first, second = lessons.draft(), lessons.draft(content(flight=None, comments="another"))
    answer = tablet.signs("lesson.signed", lessons.ref, *first)
    sealed = lessons.sign(*first, answer)
    assert lessons.signed_by(tablet, *second).status_code == 200
    assert lessons.sign(*first, answer).json() == sealed.json()
    assert models.SignOff.objects.count() == 2


@pytest.mark.any_database  # others here make these queries on SQLite
def test_a_count_that_went_back_signs_nothing(people: Cast, lessons: Lessons, tablet: Passkey) -> None:
    first, second = lessons.draft(), lessons.draft(content(flight=None, comments="another"))
    copied = copy.copy(tablet)
    assert lessons.signed_by(tablet, *first).status_code == 200
    told = problem(lessons.signed_by(copied, *second), 403)
    assert "did not go up (1, now 1)" in told["detail"]
    assert lessons.signed_by(tablet, *second).status_code == 200


def test_signing_counts_apart_from_signing_in(people: Cast, lessons: Lessons, tablet: Passkey) -> None:
    """What was signed without a network arrives after the passkey was used to sign in."""
    key, digest = lessons.draft()
    answer = tablet.signs("lesson.signed", lessons.ref, key, digest)
    row = people.ida.authenticator_set.get()
    reauthentication.count_use(row, reauthentication.LOGIN, 9)
    assert lessons.sign(key, digest, answer).status_code == 200
    with pytest.raises(reauthentication.NotConfirmed, match="did not go up"):
        reauthentication.count_use(row, reauthentication.LOGIN, 9)


@pytest.mark.any_database  # others here make these queries on SQLite
def test_a_passkey_that_does_not_count_may_sign_again_and_again(people: Cast, lessons: Lessons) -> None:
    passkey = Passkey(count=None)
    passkey.added_to(people.ida)
    for number in range(3):
        assert (
            lessons.signed_by(passkey, *lessons.draft(content(flight=None, comments=str(number)))).status_code
            == 200
        )


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(("algorithm", "number"), [("ES256K", -47), ("ES384", -35)])
def test_an_algorithm_that_nobody_could_check_later_signs_nothing(
    people: Cast, lessons: Lessons, algorithm: str, number: int
) -> None:
    passkey = Passkey(algorithm)
    passkey.added_to(people.ida)
    told = problem(lessons.signed_by(passkey, *lessons.draft()), 403)
    assert f"an algorithm (COSE {number}) that could not be checked later" in told["detail"]


# The nonce: one signature, this person, for a while


def used(answer: dict[str, Any]) -> bool:
    return models.SpentNonce.objects.filter(nonce=answer["nonce"].partition(":")[0]).exists()


def test_a_nonce_signs_once_and_the_same_request_again_gives_the_same_answer(
    people: Cast, lessons: Lessons, tablet: Passkey
) -> None:
    first, second = lessons.draft(), lessons.draft(content(flight=None, comments="another"))
    answer = tablet.signs("lesson.signed", lessons.ref, *first)
    sealed = lessons.sign(*first, answer)
    assert sealed.status_code == 200
    assert used(answer)
    assert lessons.sign(*first, answer).json() == sealed.json()
    other = tablet.signs("lesson.signed", lessons.ref, *second, nonce=answer["nonce"])
    told = problem(lessons.sign(*second, other), 403)
    assert told["detail"].startswith("This passkey signature was used already.")
    assert models.SignOff.objects.count() == models.SpentNonce.objects.count() == 1


def test_what_was_refused_spends_no_nonce(lessons: Lessons, tablet: Passkey) -> None:
    key, digest = lessons.draft()
    answer = tablet.signs("lesson.signed", lessons.ref, key, digest)
    later = (NOW + dt.timedelta(hours=1)).isoformat()
    assert lessons.sign(key, digest, answer, performed_at=later).status_code == 422
    assert not used(answer)
    assert lessons.sign(key, digest, answer).status_code == 200
    assert used(answer)


@pytest.mark.any_database  # others here make these queries on SQLite
def test_a_nonce_is_its_own_persons_from_this_server_and_valid_for_two_weeks(
    people: Cast, lessons: Lessons, tablet: Passkey
) -> None:
    key, digest = lessons.draft()
    drawn = lessons.client.get("/api/v1/auth/nonce").json()
    assert drawn["expires"] == "2026-06-15T15:00:00+00:00"
    for nonce in ("made up", drawn["nonce"][:-1], nonces.draw(people.ada)):
        answer = tablet.signs("lesson.signed", lessons.ref, key, digest, nonce=nonce)
        told = problem(lessons.sign(key, digest, answer), 403)
        assert told["detail"].startswith("The passkey signature has no nonce that this server gave to you.")
    before = tablet.answer(
        assertions.challenge(
            assertions.statement("lesson.signed", subject=str(lessons.ref), about=key, content_hash=digest)
        )
    )
    told = problem(lessons.sign(key, digest, before), 403)
    assert told["detail"].startswith("The passkey signature has no nonce that this server gave to you.")
    answer = tablet.signs("lesson.signed", lessons.ref, key, digest, nonce=drawn["nonce"])
    with (
        time_machine.travel(NOW + nonces.VALID + dt.timedelta(seconds=1), tick=False),
        pytest.raises(nonces.NotConfirmed, match="is valid for 14 days, and it is older"),
    ):
        nonces.check(people.ida, drawn["nonce"])
    assert not models.SignOff.objects.exists()
    assert lessons.sign(key, digest, answer).status_code == 200


@pytest.mark.usefixtures("taken_out")
@pytest.mark.django_db(transaction=True)
def test_two_signatures_at_once_spend_a_nonce_once(people: Cast, tablet: Passkey) -> None:
    confirmed = {"statement": {"nonce": nonces.draw(people.ida)}}

    def spend(_: int) -> bool:
        try:
            with transaction.atomic():
                nonces.spend(confirmed, NOW)
        except nonces.NotConfirmed:
            return False
        finally:
            connection.close()
        return True

    with ThreadPoolExecutor(4) as pool:
        assert sorted(pool.map(spend, range(8))) == [False] * 7 + [True]


SIGNED = {"clientDataJSON": "AA", "authenticatorData": "AA", "signature": "AA"}


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(
    ("passkey", "where"),
    [
        pytest.param("x", ["passkey"], id="no object"),
        pytest.param({"id": "AA"}, [f"passkey.response.{key}" for key in SIGNED], id="no response"),
        pytest.param({"id": "A A", "response": SIGNED}, ["passkey.id"], id="no base64url"),
        pytest.param({"id": "AA", "more": 1, "response": SIGNED}, ["passkey.more"], id="a key too many"),
        pytest.param(
            {"id": "AA", "response": {**SIGNED, "clientDataJSON": "", "signature": "A" * 10_001}},
            ["passkey.response.clientDataJSON", "passkey.response.signature"],
            id="empty and too long",
        ),
    ],
)
def test_what_is_no_answer_of_a_passkey_is_named(lessons: Lessons, passkey: Any, where: list[str]) -> None:
    key, digest = lessons.draft()
    assert places(lessons.sign(key, digest, passkey)) == where


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(
    ("sent", "says"),
    [
        pytest.param({}, "missing; confirm with either confirm_password or passkey", id="neither"),
        pytest.param({"confirm_password": None, "passkey": None}, "missing", id="both null"),
        pytest.param({"confirm_password": PASSWORD}, "is sent together with passkey", id="both"),
    ],
)
def test_exactly_one_of_the_two_confirms(
    lessons: Lessons, tablet: Passkey, sent: dict[str, Any], says: str
) -> None:
    key, digest = lessons.draft()
    if sent.get("confirm_password"):
        sent = {**sent, "passkey": tablet.signs("lesson.signed", lessons.ref, key, digest)}
    body = {"content_hash": digest, **sent}
    told = problem(lessons.client.post(f"{lessons.url}/{key}/sign", body), 422)
    assert [each["place"] for each in told["errors"]] == ["confirm_password"]
    assert says in told["errors"][0]["message"]


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(
    "data",
    [
        pytest.param({"clientDataJSON": assertions.encode(b"{")}, id="client data that is no JSON"),
        pytest.param({"clientDataJSON": assertions.encode(b"[]")}, id="client data that is a list"),
        pytest.param({"clientDataJSON": assertions.encode(b"\xff")}, id="client data that is no text"),
        pytest.param({"authenticatorData": assertions.encode(b"x" * 36)}, id="data cut short"),
    ],
)
def test_an_answer_that_cannot_be_read_signs_nothing(
    lessons: Lessons, tablet: Passkey, data: dict[str, str]
) -> None:
    key, digest = lessons.draft()
    answer = tablet.signs("lesson.signed", lessons.ref, key, digest)
    answer["response"].update(data)
    told = problem(lessons.sign(key, digest, answer), 403)
    assert "cannot be read" in told["detail"]


def test_flags_alone_make_no_verification(lessons: Lessons, tablet: Passkey) -> None:
    key, digest = lessons.draft()
    problem(lessons.signed_by(tablet, key, digest, flags=PRESENT | ATTESTED), 403)


# The student's acknowledgement, endorsements


@pytest.mark.usefixtures("taken_out")
@pytest.mark.django_db(transaction=True)
def test_acknowledging_giving_and_revoking_by_passkey(
    people: Cast, signed_in: Clients, lessons: Lessons, tablet: Passkey
) -> None:
    sams = Passkey("EdDSA")
    sams.added_to(people.sams_account)
    key, digest = lessons.draft()
    assert lessons.signed_by(tablet, key, digest).status_code == 200
    known = signed_in(people.sams_account).post(
        f"{lessons.url}/{key}/acknowledge",
        {"passkey": sams.signs("lesson.acknowledged", people.sam.ref, key, digest)},
    )
    assert known.status_code == 200, known.content

    url, entry = f"/api/v1/students/{people.sam.ref}/endorsements", str(uuid.uuid4())
    body = {"id": entry, "kind": "solo-90-day", "endorsement": SOLO, "judgement": "Ready."}
    text, digest = reauthentication.content_of(
        {key: body[key] for key in ("kind", "endorsement", "judgement")}
    )
    answer = tablet.signs("endorsement.given", people.sam.ref, entry, digest)
    for spoilt in ({"judgement": "Not ready."}, {"endorsement": {**SOLO, "aircraft_model": "PA28"}}):
        told = problem(lessons.client.post(url, {**body, **spoilt, "passkey": answer}), 403)
        assert "signed something else" in told["detail"]
    given = lessons.client.post(url, {**body, "passkey": answer})
    assert given.status_code == 201, given.content
    assert lessons.client.post(url, {**body, "passkey": answer}).status_code == 200
    assert models.EndorsementSeal.objects.get().confirmed["said"] == text

    digest = reauthentication.content_of({"reason": "Two hard landings"})[1]
    end = {
        "reason": "Two hard landings",
        "passkey": tablet.signs("endorsement.revoked", people.sam.ref, entry, digest),
    }
    problem(lessons.client.post(f"{url}/{entry}/revoke", {**end, "reason": "Another"}), 403)
    assert lessons.client.post(f"{url}/{entry}/revoke", end).status_code == 200
    assert models.Revocation.objects.get().confirmed["by"] == "passkey"

    found = offline(people)
    assert (found.faults, found.passkeys) == ([], 4)


def test_what_no_canonical_json_holds_is_not_signed(people: Cast, lessons: Lessons, tablet: Passkey) -> None:
    url, entry = f"/api/v1/students/{people.sam.ref}/endorsements", str(uuid.uuid4())
    body = {"id": entry, "kind": "solo-90-day", "endorsement": {"aircraft_model": 2**60}}
    answer = tablet.signs("endorsement.given", people.sam.ref, entry, OTHER)
    assert places(lessons.client.post(url, {**body, "passkey": answer})) == ["endorsement"]
