"""The catalogue of endorsements: complete, held against the rulebook, every fault with file and line."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from syllabus import catalogue, rulebook
from syllabus.engine.errors import RuleDataError
from syllabus.engine.vocabulary import ENDORSEMENTS

WHOLE = (catalogue.HOME / "faa.yaml").read_text(encoding="utf-8")
KINDS = catalogue.current().kinds


def test_every_kind_that_a_record_knows_stands_in_it_once():
    assert set(KINDS) == set(ENDORSEMENTS)
    assert WHOLE.count("- kind: ") == len(ENDORSEMENTS)


@pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
def test_no_length_of_time_stands_here(kind):
    """A life is the rulebook's: neither the wording nor the words on its life hold a number of days."""
    for text in (kind.wording, kind.life, kind.title):
        assert not re.search(r"\d+ (calendar )?(day|month|year)", text), text


@pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
def test_every_kind_says_where_it_stands_and_is_worded(kind):
    assert re.match(r"14 CFR 61\.\d+", kind.cite.section)
    assert kind.cite.source
    values = dict.fromkeys(kind.placeholders, "this")
    assert "____" not in kind.filled(kind.wording, values)
    assert "{" not in kind.filled(kind.wording, values)


@pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
def test_what_it_proves_is_never_what_it_rests_on(kind):
    rules = rulebook.current()
    shown = [each.id for each in catalogue.current().rests_on(kind, rules)]
    assert not set(shown) & set(kind.proves)
    assert len(shown) == len(set(shown))


def test_the_practical_test_rests_on_all_the_rest():
    rules = rulebook.current()
    shown = {each.id for each in catalogue.current().rests_on(KINDS["practical-test"], rules)}
    every = {each.id for each in rules.milestone("faa.private-practical-test").requirements}
    assert every - shown == {"faa.private-practical-test.practical-endorsement"}


FAULTS = [
    pytest.param(("kind: retest", "kind: retests"), "unknown kind 'retests'", id="an unknown kind"),
    pytest.param(
        ("kind: retest", "kind: solo-night"), "solo-night stands twice", id="a kind that stands twice"
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
    pytest.param(("trained: true", "trained: 1"), "neither true nor false", id="trained by a number"),
    pytest.param(
        ("area {area}", "area {aera}"), "{aera} is no placeholder here", id="a placeholder mistyped"
    ),
    pytest.param(("area {area}", "area {area"), "without its other half", id="half a pair of braces"),
    pytest.param(("area {area}", "area {area!r}"), "is no placeholder here", id="a conversion"),
    pytest.param(("verified: read", "verified: sure"), "is not one of read", id="verified how?"),
    pytest.param(("authority: faa", "authority: caa"), "make them agree", id="in another's file"),
    pytest.param(("    title: Solo flight in one Class B area\n", ""), "'title' is missing", id="no title"),
]


@pytest.mark.parametrize(("change", "message"), FAULTS)
def test_a_fault_is_told_with_file_and_line(tmp_path: Path, change: tuple[str, str], message: str):
    old, new = change
    assert old in WHOLE
    (tmp_path / "faa.yaml").write_text(WHOLE.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(RuleDataError) as wrong:
        catalogue.load(rulebook.current(), tmp_path)
    told = [str(fault) for fault in wrong.value.faults]
    assert any(message in each for each in told), told
    line = WHOLE[: WHOLE.index(old)].count("\n") + 1
    if "is in no file" not in message and "twice" not in message and "missing" not in message:
        [place] = {fault.place for fault in wrong.value.faults if message in fault.message}
        file, at = place.split(":")
        assert file == "faa.yaml"
        assert abs(int(at) - line) <= 3


def test_an_empty_folder_lacks_every_kind(tmp_path: Path):
    with pytest.raises(RuleDataError) as wrong:
        catalogue.load(rulebook.current(), tmp_path)
    assert len(wrong.value.faults) == len(ENDORSEMENTS)


WORDINGS = [
    pytest.param("  ", "is empty", id="blank"),
    pytest.param("x" * 2001, "at most 2000 fit", id="too long"),
    pytest.param("{area}", "is no placeholder here", id="a field of another kind"),
    pytest.param("{student.__class__}", "is no placeholder here", id="a look inside"),
    pytest.param("{}", "is no placeholder here", id="a nameless one"),
    pytest.param("{student", "without its other half", id="half a pair"),
]


@pytest.mark.parametrize(("wording", "message"), WORDINGS)
def test_a_schools_wording_that_cannot_be_filled_in_is_refused(wording: str, message: str):
    with pytest.raises(catalogue.WordingError, match=message):
        catalogue.check_wording(KINDS["solo-90-day"], wording)


def test_braces_themselves_can_be_written():
    kind = KINDS["retest"]
    assert kind.filled("{{{student}}}", {"student": "Sam"}) == "{Sam}"
