"""The exact bytes: one spelling for everything that is hashed or signed."""

import datetime
import hashlib
import json

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from training.ledger.core import sealed
from training.ledger.store import entries

TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
WHOLE = st.integers(-sealed.MOST_INTEGER, sealed.MOST_INTEGER)
BODIES = st.dictionaries(
    TEXT,
    st.recursive(
        st.none() | st.booleans() | WHOLE | TEXT,
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXT, inner, max_size=4),
        max_leaves=12,
    ),
    max_size=5,
)


@given(TEXT, st.integers(0, sealed.MOST_INTEGER), TEXT, TEXT)
def test_a_leaf_is_rfc_8785_canonical(tree: str, index: int, kind: str, subject: str) -> None:
    fields = {"tree": tree, "index": index, "kind": kind, "subject": subject, "at": "x", "commitment": "y"}
    leaf = sealed.leaf_data(**fields)  # type: ignore[arg-type]
    assert leaf == rfc8785.dumps({"format": "ledger-entry/1", **fields})


@given(BODIES)
def test_a_body_is_sealed_in_its_canonical_form(body: dict[str, object]) -> None:
    assert entries.canonical_body(body) == rfc8785.dumps(body).decode()  # type: ignore[arg-type]


def test_keys_stand_in_the_order_of_utf_16() -> None:
    """A character beyond the surrogates stands before one of the last of the first 65,536."""
    assert (
        entries.canonical_body({"\uff5e": 1, "\U0001f6e9": 2, "å": 3}) == '{"å":3,"\U0001f6e9":2,"\uff5e":1}'
    )


@given(BODIES)
def test_a_canonical_body_is_known_as_one(body: dict[str, object]) -> None:
    text = rfc8785.dumps(body).decode()  # type: ignore[arg-type]
    assert sealed.body_fault(text) == ""
    assert sealed.strict_json(text) == body


def test_the_leaf_of_an_entry_byte_by_byte() -> None:
    """Pinned: what was sealed must be readable for ever."""
    leaf = sealed.leaf_data(
        tree="t",
        index=7,
        kind="lesson.signed",
        subject="Ø",
        at="2026-11-25T12:00:00.000000Z",
        commitment="c0",
    )
    assert leaf.decode() == (
        '{"at":"2026-11-25T12:00:00.000000Z","commitment":"c0","format":"ledger-entry/1","index":7,'
        '"kind":"lesson.signed","subject":"Ø","tree":"t"}'
    )
    salt = "ab" * 32
    assert sealed.commitment(salt, '{"å":1}') == hashlib.sha256(b"\xab" * 32 + '{"å":1}'.encode()).hexdigest()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        pytest.param('{"a":1.5}', "1.5 is not a whole one", id="a fraction"),
        pytest.param('{"a":1e2}', "1e2 is not a whole one", id="an exponent"),
        pytest.param('{"a":NaN}', "NaN is not a whole one", id="not a number"),
        pytest.param('{"b":1,"a":2}', "not in order", id="keys in another order"),
        pytest.param('{"a":1,"a":2}', "not in order", id="a key twice"),
        pytest.param('{"a": 1}', "not in canonical form", id="a space"),
        pytest.param('{"a":-0}', "not in canonical form", id="minus nothing"),
        pytest.param('{"a":"\\u00e5"}', "not in canonical form", id="an escape that need not be"),
        pytest.param('{"a":"\\ud800"}', "not in canonical form", id="half of a character"),
        pytest.param('["a"]', "not a JSON object", id="a list"),
        pytest.param('{"a":', "Expecting value", id="cut short"),
        pytest.param('{"a":' + "[" * 100_000, "nested too deeply", id="nested without end"),
    ],
)
def test_what_is_no_body(text: str, says: str) -> None:
    assert says in sealed.body_fault(text)


def test_keys_are_ordered_by_their_utf_16_code_units() -> None:
    """RFC 8785, 3.2.3: U+1F600 is written D83D DE00 and so stands before U+FB33."""
    body = {"\ufb33": 1, "\U0001f600": 2}
    text = rfc8785.dumps(body).decode()
    assert list(json.loads(text)) == ["\U0001f600", "\ufb33"]
    assert sealed.body_fault(text) == ""


@pytest.mark.parametrize(
    ("instant", "text"),
    [
        pytest.param(
            datetime.datetime(2026, 11, 25, 12, 0, tzinfo=datetime.UTC),
            "2026-11-25T12:00:00.000000Z",
            id="a whole second still has six digits",
        ),
        pytest.param(
            datetime.datetime(2026, 1, 1, 0, 30, 0, 1, tzinfo=datetime.timezone(datetime.timedelta(hours=1))),
            "2025-12-31T23:30:00.000001Z",
            id="another zone is written in UTC",
        ),
        pytest.param(
            datetime.datetime(999, 1, 1, tzinfo=datetime.UTC),
            "0999-01-01T00:00:00.000000Z",
            id="an early year has four digits",
        ),
    ],
)
def test_an_instant_has_one_spelling(instant: datetime.datetime, text: str) -> None:
    assert sealed.instant_text(instant) == text
    assert sealed.instant_of(text) == instant


@pytest.mark.parametrize(
    "text", ["2026-11-25T12:00:00Z", "2026-11-25T12:00:00.000000+00:00", "", "2026-13-01"]
)
def test_another_spelling_is_no_instant(text: str) -> None:
    with pytest.raises(ValueError, match="is not an instant such as"):
        sealed.instant_of(text)


def test_json_that_says_two_things_is_refused() -> None:
    with pytest.raises(ValueError, match="'size' occurs twice"):
        sealed.strict_json('{"size": 1, "size": 2}')
