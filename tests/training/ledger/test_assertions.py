"""A passkey's signature in a sealed entry, checked with nothing but the entry; and what was changed in it."""

from __future__ import annotations

import copy
from typing import Any

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from tests.support.passkeys import PRESENT, VERIFIED, Passkey
from training.ledger.core import assertions
from training.ledger.core.assertions import encode

CONTENT = {
    "flight": {"route": ["KGRB", {"lat": "44.31", "lon": "-89.0"}], "times": {"dual": "1.4 h"}},
    "items": [{"item": "presolo.d-01", "grade": "perform"}],
}
SIGNED = {**CONTENT, "flight": {**CONTENT["flight"], "route": ["KGRB", {"lat": 44.31, "lon": -89}]}}  # type: ignore[dict-item]
SUBJECT, ABOUT = "5b2e7c9a-0000-4000-8000-000000000001", "5b2e7c9a-0000-4000-8000-000000000002"


def entry(nonce: str | None = "one:of:ours", **how: Any) -> dict[str, Any]:
    """The body of a lesson signed with a passkey; without a nonce as it was before there were any."""
    whole = {"lesson": "S1-L3", "content": SIGNED, "corrects": None, "reason": ""}
    digest = assertions.hash_of(rfc8785.dumps(whole).decode())
    said = assertions.statement(
        "lesson.signed", subject=SUBJECT, about=ABOUT, content_hash=digest, nonce=nonce
    )
    passkey = how.pop("passkey", None) or Passkey(count=None)
    answer = passkey.answer(assertions.challenge(said), **how)["response"]
    numbers = passkey.private.public_key().public_numbers()
    return {
        **whole,
        "content": copy.deepcopy(CONTENT),
        "lesson_record": ABOUT,
        "content_hash": digest,
        "confirmed": {
            "by": "passkey",
            "statement": said,
            "rp": "testserver",
            "origin": "http://testserver",
            "credential": encode(passkey.id),
            "authenticator_data": answer["authenticatorData"],
            "client_data": answer["clientDataJSON"],
            "signature": answer["signature"],
            "public_key": {
                "kty": "EC",
                "alg": "ES256",
                "crv": "P-256",
                "x": encode(numbers.x.to_bytes(32, "big")),
                "y": encode(numbers.y.to_bytes(32, "big")),
            },
        },
    }


def fault(body: dict[str, Any], kind: str = "lesson.signed", subject: str = SUBJECT) -> str:
    return assertions.entry_fault(kind, subject, body)


def put(*path: Any) -> Any:
    """A change: the last of the path is the value, what comes before leads to its place."""

    def change(body: dict[str, Any]) -> None:
        *to, key, value = path
        inside: Any = body
        for step in to:
            inside = inside[step]
        if value is LEFT_OUT:
            del inside[key]
        else:
            inside[key] = value

    return change


LEFT_OUT = object()
OTHER = "sha256:" + "0" * 64
ELSEWHERE = "the passkey's signature is over another record, or over other content"
SOMETHING_ELSE = "the passkey signed something else than this"
NO_FIT = "the passkey's signature does not fit: it, or what it is over, was changed"
CHANGES = {
    "a grade": (put("content", "items", 0, "grade", "practice"), ELSEWHERE),
    "a coordinate": (put("content", "flight", "route", 1, "lat", "44.32"), ELSEWHERE),
    "a time": (put("content", "flight", "times", "dual", "2.4 h"), ELSEWHERE),
    "the lesson": (put("lesson", "S1-L4"), ELSEWHERE),
    "what it corrects": (put("corrects", ABOUT), ELSEWHERE),
    "the course": (put("course", "private-airplane 1 sha256:0"), ELSEWHERE),
    "the record": (put("lesson_record", SUBJECT), ELSEWHERE),
    "the statement": (put("confirmed", "statement", "about", SUBJECT), SOMETHING_ELSE),
    "the hash in the statement": (put("confirmed", "statement", "content_hash", OTHER), SOMETHING_ELSE),
    "the nonce": (put("confirmed", "statement", "nonce", "another"), SOMETHING_ELSE),
    "no nonce": (put("confirmed", "statement", "nonce", LEFT_OUT), SOMETHING_ELSE),
    "the form of a statement": (
        put("confirmed", "statement", "format", assertions.WITHOUT_NONCE),
        SOMETHING_ELSE,
    ),
    "no statement": (
        put("confirmed", "statement", None),
        "its confirmation by passkey has no statement that was signed",
    ),
    "the content is gone": (put("content", LEFT_OUT), "what the passkey signed cannot be found in it"),
    "a part is gone": (
        put("confirmed", "rp", LEFT_OUT),
        "its confirmation by passkey has other parts than it should",
    ),
    "a part more": (
        put("confirmed", "more", 1),
        "its confirmation by passkey has other parts than it should",
    ),
    "the site": (put("confirmed", "rp", "elsewhere"), "the passkey belongs to another site than it says"),
    "the origin": (put("confirmed", "origin", "x"), "the passkey was used on another site than it says"),
    "another key": (put("confirmed", "public_key", entry()["confirmed"]["public_key"]), NO_FIT),
    "a key of another kind": (put("confirmed", "public_key", "alg", "EdDSA"), NO_FIT),
    "a key off its curve": (put("confirmed", "public_key", "x", "AAAA"), NO_FIT),
    "a key without its half": (put("confirmed", "public_key", "y", LEFT_OUT), NO_FIT),
    "a key of no known algorithm": (put("confirmed", "public_key", "alg", "none"), NO_FIT),
    "no key": (put("confirmed", "public_key", None), NO_FIT),
    "another signature": (put("confirmed", "signature", entry()["confirmed"]["signature"]), NO_FIT),
    "an empty signature": (put("confirmed", "signature", ""), NO_FIT),
    "a signature that is no text": (
        put("confirmed", "signature", 5),
        "its confirmation by passkey cannot be read: is not base64url",
    ),
    "data cut short": (
        put("confirmed", "authenticator_data", "AAAA"),
        "its confirmation by passkey cannot be read: the authenticator's data is cut short",
    ),
    "another way": (put("confirmed", "by", "fax"), "it is confirmed in a way that is not known here"),
    "a word for it": (put("confirmed", "yes"), "it is confirmed in a way that is not known here"),
}


def test_whole_as_it_was_signed() -> None:
    assert fault(entry()) == ""
    assert fault(entry(nonce=None)) == ""


@pytest.mark.parametrize(("change", "says"), CHANGES.values(), ids=CHANGES)
def test_what_was_changed_is_found(change: Any, says: str) -> None:
    body = entry()
    change(body)
    assert fault(body) == says


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ({"flags": PRESENT}, "the passkey did not make sure who used it"),
        ({"flags": VERIFIED}, "the passkey did not make sure who used it"),
        ({"asked": "webauthn.create"}, "the passkey was asked for something other than a signature"),
        ({"origin": "https://elsewhere.example"}, "the passkey was used on another site than it says"),
    ],
)
def test_what_the_passkey_itself_says_otherwise_is_found(how: dict[str, Any], says: str) -> None:
    assert fault(entry(**how)).startswith(says)


def test_every_character_of_the_answer_counts() -> None:
    body = entry()
    for part in ("authenticator_data", "client_data", "signature"):
        data = assertions.decode(body["confirmed"][part])
        for place in range(len(data)):
            changed = copy.deepcopy(body)
            changed["confirmed"][part] = encode(data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :])
            assert fault(changed), (part, place)


@pytest.mark.parametrize(
    ("kind", "subject", "says"),
    [
        ("lesson.signed", ABOUT, ELSEWHERE),
        ("lesson.acknowledged", SUBJECT, ELSEWHERE),
        (
            "lesson.corrected",
            SUBJECT,
            "it is confirmed by passkey, and of a kind that a passkey does not confirm",
        ),
    ],
)
def test_it_stands_for_one_student_and_one_act(kind: str, subject: str, says: str) -> None:
    assert fault(entry(), kind, subject) == says


@pytest.mark.parametrize("body", [{}, {"confirmed": None}, {"confirmed": {"by": "password"}}])
def test_what_no_passkey_confirmed_is_not_looked_at(body: dict[str, Any]) -> None:
    assert fault(body) == ""


_NUMBERS = st.integers(-(2**53) + 1, 2**53 - 1) | st.floats(1e-6, 1e15) | st.floats(-1e15, -1e-6)
_JSON = st.recursive(
    st.none() | st.booleans() | _NUMBERS | st.text(st.characters(codec="utf-8")),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(st.characters(codec="utf-8")), inner),
    max_leaves=20,
)


@given(_JSON)
def test_its_canonical_form_is_that_of_the_library(value: Any) -> None:
    assert assertions.canonical(value) == rfc8785.dumps(value).decode()
