"""The catalogue of endorsements: complete, held against the rulebook, every fault with file and line."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import pytest

from syllabus.engine.errors import RuleDataError
from syllabus.engine.record.record import Endorsement
from syllabus.engine.record.vocabulary import ENDORSEMENTS, TESTS
from syllabus.law import endorsements, rulebook
from tests.support.rows import over_rows

WHOLE = (endorsements.HOME / "faa.yaml").read_text(encoding="utf-8")
KINDS = endorsements.current().kinds


def test_every_kind_that_a_record_knows_stands_in_it_once():
    assert set(KINDS) == set(ENDORSEMENTS)
    assert WHOLE.count("- kind: ") == len(ENDORSEMENTS)


@over_rows("kind", KINDS.values(), ids=list(KINDS))
def test_no_length_of_time_stands_here(kind):
    """A life is the rulebook's: neither the wording nor the words on its life hold a number of days."""
    for text in (kind.wording, kind.life, kind.title):
        assert not re.search(r"\d+ (calendar )?(day|month|year)", text), text


@over_rows("kind", KINDS.values(), ids=list(KINDS))
def test_every_kind_says_where_it_stands_and_is_worded(kind):
    assert re.match(r"14 CFR 61\.\d+|49 CFR 1552\.\d+", kind.cite.section)
    assert kind.cite.source
    values = dict.fromkeys(kind.placeholders, "this")
    assert "____" not in kind.filled(kind.wording, values)
    assert "{" not in kind.filled(kind.wording, values)


@over_rows("kind", KINDS.values(), ids=list(KINDS))
def test_what_it_proves_is_never_what_it_rests_on(kind):
    rules = rulebook.current()
    shown = [each.id for each in endorsements.current().rests_on(kind, rules)]
    assert not set(shown) & set(kind.proves)
    assert len(shown) == len(set(shown))


#: Kinds that a ground instructor may give too (14 CFR 61.215): for knowledge tests and the study before them.
GROUND = {"knowledge-test", "home-study-reviewed", "retest"}


@over_rows("kind", KINDS.values(), ids=list(KINDS))
def test_who_may_give_it(kind):
    """A flight instructor each; instructors of 14 CFR 61.41 only certify that training was given, so none."""
    test = f"{kind.tests[0]}:private-airplane" if kind.tests else None
    assert kind.may_be_given_by("flight", test)
    assert kind.may_be_given_by("ground", test) is (kind.kind in GROUND)
    assert not kind.may_be_given_by("foreign", test)
    assert not kind.may_be_given_by("armed-forces", test)


@pytest.mark.parametrize(
    ("test", "ground"),
    [
        pytest.param("knowledge:private-airplane", True, id="a knowledge test"),
        pytest.param("practical:private-airplane", False, id="a practical test"),
        pytest.param(None, False, id="a test that is not named"),
    ],
)
def test_a_ground_instructor_gives_a_retest_of_a_knowledge_test_alone(test, ground):
    # 14 CFR 61.49 with 61.215.
    assert KINDS["retest"].may_be_given_by("ground", test) is ground
    assert KINDS["retest"].may_be_given_by("flight", "practical:private-airplane")


FIELDS_OF = {
    # 14 CFR 61.95(b): that airport. 61.31(d)(2): the aircraft. 61.49: the test.
    "solo-class-b-airport": {"airport"},
    "solo-unrated": {"aircraft_model"},
    "retest": {"test", "training_date"},
    "home-study-reviewed": {"test"},
    "citizenship": {"conditions"},
}


@pytest.mark.parametrize("kind", FIELDS_OF)
def test_what_a_kind_must_name(kind):
    assert set(KINDS[kind].required) == FIELDS_OF[kind]


TEST_KINDS = (
    "knowledge-test",
    "knowledge-deficiencies-reviewed",
    "practical-test-prerequisites",
    "practical-test",
)


@pytest.mark.parametrize("kind", TEST_KINDS)
def test_the_four_of_the_first_release_mean_the_private_airplane_where_they_name_nothing(kind):
    found = KINDS[kind]
    sort = "practical" if kind.startswith("practical") else "knowledge"
    assert {field: found.fields[field] for field in ("test", "category", "class")} == dict.fromkeys(
        ("test", "category", "class"), False
    )
    assert found.tests == (sort,)
    assert found.means["test"] == f"{sort}:private-airplane"
    assert not found.is_about_another(given(kind))
    assert not found.is_about_another(given(kind, test=f"{sort}:private-airplane"))
    assert found.is_about_another(given(kind, test=f"{sort}:private-glider"))
    assert found.is_about_another(given(kind, category="glider"))


def given(kind, **named):
    return Endorsement("e1", kind, dt.date(2026, 6, 2), **named)


@pytest.mark.parametrize(
    ("test", "words"),
    [
        pytest.param("practical:private-glider", "private glider practical test", id="a practical test"),
        pytest.param(
            "knowledge:fundamentals-of-instructing",
            "fundamentals of instructing knowledge test",
            id="a knowledge test",
        ),
    ],
)
def test_a_test_is_called_as_people_call_it(test, words):
    assert test in TESTS
    assert endorsements.called(test) == words


@pytest.mark.parametrize(
    "kind", ["pre-solo-training", "solo-90-day", "solo-night", "solo-cross-country-model"]
)
def test_a_similar_model_may_be_named_where_the_training_was_in_one(kind):
    # 14 CFR 61.87(c)(2), (p): in that or a similar make and model.
    assert KINDS[kind].fields["similar_model"] is False


def test_the_practical_test_rests_on_all_the_rest():
    rules = rulebook.current()
    shown = {each.id for each in endorsements.current().rests_on(KINDS["practical-test"], rules)}
    every = {each.id for each in rules.milestone("faa.private-practical-test").requirements}
    assert every - shown == {"faa.private-practical-test.practical-endorsement"}


FAULTS = [
    pytest.param(("kind: retest", "kind: retests"), "unknown kind 'retests'", id="an unknown kind"),
    pytest.param(
        ("kind: retest", "kind: solo-night"), "solo-night occurs twice", id="a kind that stands twice"
    ),
    pytest.param(("kind: retest", "kind: solo-night"), "'retest' is in no file", id="a kind that is missing"),
    pytest.param(("{area: required", "{aera: required"), "unknown field 'aera'", id="an unknown field"),
    pytest.param(("{area: required", "{area: needed"), "neither required nor optional", id="neither of two"),
    pytest.param(
        ("[faa.solo-night.night-endorsement]", "[faa.solo-night.nights]"),
        "has no requirement or milestone 'faa.solo-night.nights'",
        id="a requirement that is not there",
    ),
    pytest.param(
        ("[faa.solo-night.night-endorsement]", "[faa.solo-night]"),
        "is a milestone; name its requirement",
        id="a whole milestone proved",
    ),
    pytest.param(("given_by: [flight]", "given_by: [pilot]"), "'pilot' is not one of", id="given by whom?"),
    pytest.param(("given_by: [flight]", "given_by: []"), "given_by: [] is not a list", id="given by nobody"),
    pytest.param(("    given_by: [flight]\n", ""), "'given_by' is missing", id="not said by whom"),
    pytest.param(
        ("given_by: [flight, ground]", "given_by: [flight, flight]"),
        "flight occurs twice",
        id="given by twice",
    ),
    pytest.param(("ground: [knowledge]}", "ground: [oral]}"), "'oral' is not one of", id="a sort of test"),
    pytest.param(("{flight: [knowledge", "{pilot: [knowledge"), "'pilot' is not one of", id="in a table"),
    pytest.param(
        ("tests: [practical]", "tests: [checkride]"), "'checkride' is not one of", id="a test named"
    ),
    pytest.param(("    tests: [practical]\n", ""), "go together", id="a test of no sort"),
    pytest.param(("means: {test: ", "means: {tests: "), "'tests' is not one of", id="means what?"),
    pytest.param(
        ('means: {test: "knowledge:private-airplane"', 'means: {test: "knowledge:private-airship"'),
        "'knowledge:private-airship' is not known",
        id="means a test there is not",
    ),
    pytest.param(
        ("{test: optional, category: optional", "{test: required, category: optional"),
        "test is not an optional field",
        id="means what must be named",
    ),
    pytest.param(("trained: true", "trained: 1"), "neither true nor false", id="trained by a number"),
    pytest.param(("about: solo", "about: soaring"), "'soaring' is not one of", id="about what?"),
    pytest.param(("about: solo", "about: test"), "names its sorts in 'tests'", id="about a test of no sort"),
    pytest.param(
        ("    trained: true\n    ground_counts: true", "    ground_counts: true"),
        "only where trained is true",
        id="ground training where none is asked",
    ),
    pytest.param(("kind: retest", "kind: ex-retest"), "unknown kind 'ex-retest'", id="another's own kind"),
    pytest.param(
        ("tests: [practical]", "tests: [ex-check]"), "'ex-check' is not one of", id="another's own test"
    ),
    pytest.param(
        ("area {area}", "area {aera}"), "{aera} is not a placeholder here", id="a placeholder mistyped"
    ),
    pytest.param(("area {area}", "area {area"), "without its other half", id="half a pair of braces"),
    pytest.param(("area {area}", "area {area!r}"), "is not a placeholder here", id="a conversion"),
    pytest.param(("verified: read", "verified: sure"), "is not one of read", id="verified how?"),
    pytest.param(("authority: faa", "authority: caa"), "make them agree", id="in another's file"),
    pytest.param(("    title: Solo flight in one Class B area\n", ""), "'title' is missing", id="no title"),
]


@over_rows(("change", "message"), FAULTS)
def test_a_fault_is_told_with_file_and_line(tmp_path: Path, change: tuple[str, str], message: str):
    old, new = change
    assert old in WHOLE
    (tmp_path / "faa.yaml").write_text(WHOLE.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(RuleDataError) as wrong:
        endorsements.load(rulebook.current(), tmp_path)
    told = [str(fault) for fault in wrong.value.errors]
    assert any(message in each for each in told), told
    line = WHOLE[: WHOLE.index(old)].count("\n") + 1
    if "is in no file" not in message and "twice" not in message and "missing" not in message:
        [place] = {fault.place for fault in wrong.value.errors if message in fault.message}
        file, at = place.split(":")
        assert file == "faa.yaml"
        assert abs(int(at) - line) <= 3


def test_an_empty_folder_is_refused(tmp_path: Path):
    with pytest.raises(RuleDataError, match="contains no rule data"):
        endorsements.load(rulebook.current(), tmp_path)


def test_a_file_with_one_kind_lacks_every_other(tmp_path: Path):
    (tmp_path / "faa.yaml").write_text("authority: faa\nkinds:\n  - kind: complex\n", encoding="utf-8")
    with pytest.raises(RuleDataError) as wrong:
        endorsements.load(rulebook.current(), tmp_path)
    missing = [each for each in wrong.value.errors if "is in no file" in each.message]
    assert len(missing) == len(ENDORSEMENTS)


WORDINGS = [
    pytest.param("  ", "is empty", id="blank"),
    pytest.param("x" * 2001, "at most 2000 fit", id="too long"),
    pytest.param("{area}", "is not a placeholder here", id="a field of another kind"),
    pytest.param("{student.__class__}", "is not a placeholder here", id="a look inside"),
    pytest.param("{}", "is not a placeholder here", id="a nameless one"),
    pytest.param("{student", "without its other half", id="half a pair"),
]


@pytest.mark.parametrize(("wording", "message"), WORDINGS)
def test_a_schools_wording_that_cannot_be_filled_in_is_refused(wording: str, message: str):
    with pytest.raises(endorsements.WordingError, match=message):
        endorsements.check_wording(KINDS["solo-90-day"], wording)


def test_braces_themselves_can_be_written():
    kind = KINDS["retest"]
    assert kind.filled("{{{student}}}", {"student": "Sam"}) == "{Sam}"
