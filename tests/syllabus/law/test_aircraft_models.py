"""The shipped table of makes and models: its invariants, and every fault with file and line."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

import pytest
import yaml

from syllabus.engine.errors import RuleDataError
from syllabus.engine.record.vocabulary import CATEGORIES
from syllabus.engine.rules.aircraft_models import folded
from syllabus.law import aircraft_models, instructing

TEXT = aircraft_models.HOME.read_text(encoding="utf-8")
DATA: dict[str, Any] = yaml.safe_load(TEXT)
MODELS = aircraft_models.current()


def test_every_spelling_is_linked_once() -> None:
    """Over the file itself: the loaded table could not tell."""
    seen: dict[str, str] = {}
    for entry in DATA["models"]:
        for each in (entry["model"], *entry["spellings"]):
            assert folded(each) not in seen, (each, entry["model"], seen[folded(each)])
            seen[folded(each)] = entry["model"]
            found = MODELS.find(each)
            assert found is not None
            assert found.name == entry["model"]


def test_every_class_belongs_to_its_category() -> None:
    for model in MODELS.linked.values():
        assert model.category in CATEGORIES
        known = instructing.classes_of(model.category)
        assert model.klass in known if known else model.klass is None, model


def test_the_table_says_what_it_is_known_from() -> None:
    assert DATA["source"] == "ICAO Doc 8643 designators, from memory"
    assert DATA["verified"] == "memory"


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("C172S", "C172"),
        ("Cessna 172", "C-172"),
        ("172SP", "Skyhawk"),
        ("Cessna Skyhawk", "c172n"),
        ("PA-28-161", "PA-28"),
        ("Warrior II", "P28A"),
        ("Piper Archer III", "pa28-181"),
        ("Cessna 150", "C150M"),
        ("172RG", "C72R"),
        ("Schweizer 300", "H269"),
        ("ASK-21", "Schleicher ASK 21"),
        ("2-33", "SGS 2-33"),
    ],
)
def test_spellings_of_one_model(one: str, other: str) -> None:
    assert MODELS.same(one, other) is True


#: What an instructor calls another make and model, however alike the names are.
APART = (
    "C150",
    "C152",
    "C162",
    "C172",
    "172RG",
    "C177",
    "177RG",
    "C182",
    "R182",
    "PA-28",
    "PA-28R",
    "PA-28RT",
    "Dakota",
    "Cherokee Six",
    "Seneca",
    "Seminole",
    "Super Cub",
    "J-3 Cub",
    "DA20-C1",
    "DA40",
    "DA42",
    "SR20",
    "SR22",
    "SR22T",
    "7ECA",
    "7GCBC",
    "Decathlon",
    "R22",
    "R44",
    "R66",
    "Schweizer 300",
    "SGS 2-33",
)


def test_models_that_are_never_one() -> None:
    for one, other in itertools.combinations(APART, 2):
        assert MODELS.same(one, other) is False, (one, other)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Cutlass", "C172"),  # the 172Q or the 172RG
        ("Citabria", "7ECA"),  # 7ECA, 7GCBC and others
        ("R172K", "C172"),  # another engine and propeller
        ("DA40 NG", "DA40"),  # another engine
        ("DA20-A1", "DA20-C1"),
        ("Scout", "Decathlon"),  # one designator, two models
        ("Musketeer", "Sundowner"),
        ("PA-28-235", "PA-28"),
        ("C172Z", "C172"),
    ],
)
def test_what_could_mean_several_models_is_a_question(one: str, other: str) -> None:
    assert MODELS.same(one, other) is None


GOOD = """\
source: an invented source
verified: memory
models:
  - {model: X1, maker: Maker, category: airplane, class: single-engine land, spellings: [X1 Star]}
  - {model: X2, category: glider, spellings: ["22"]}
"""


def loaded(tmp_path: Path, text: str) -> Any:
    at = tmp_path / "models.yaml"
    at.write_text(text, encoding="utf-8")
    return aircraft_models.linked(aircraft_models.load(at))


def test_a_maker_stands_before_each_spelling(tmp_path: Path) -> None:
    found = loaded(tmp_path, GOOD)
    assert found.same("Maker X1 Star", "x-1") is True
    assert found.find("22").klass is None


@pytest.mark.parametrize(
    ("was", "now", "said"),
    [
        pytest.param('["22"]', "[22]", ":5: spellings: 22 is not text", id="a number"),
        pytest.param('["22"]', '["-"]', ":5: spellings: '-' is not text", id="signs alone"),
        pytest.param('["22"]', "[X-1]", ":5: 'X-1' is linked to X1 already, now to X2", id="linked twice"),
        pytest.param("model: X2", "model: x1 star", ":5: 'x1 star' is linked to X1", id="another's spelling"),
        pytest.param(
            "land, sp", "sky, sp", ":4: class: 'single-engine sky' is not a class", id="no such class"
        ),
        pytest.param(
            "airplane", "glider", ":4: class: 'single-engine land' is not a class of", id="no classes"
        ),
        pytest.param("class: single-engine land, ", "", ":4: class is missing; airplane", id="no class"),
        pytest.param("glider", "sailplane", ":5: category: 'sailplane' is not a category", id="no category"),
        pytest.param("verified: memory", "verified: surely", ":2: verified: 'surely'", id="no such mark"),
        pytest.param("source: an invented source\n", "", ":1: 'source' is missing", id="no source"),
        pytest.param("maker:", "makers:", ":4: unknown key 'makers'; did you mean", id="an unknown key"),
    ],
)
def test_a_fault_names_file_and_line(tmp_path: Path, was: str, now: str, said: str) -> None:
    assert GOOD.count(was) == 1
    with pytest.raises(RuleDataError) as caught:
        loaded(tmp_path, GOOD.replace(was, now))
    assert f"models.yaml{said}" in str(caught.value)
