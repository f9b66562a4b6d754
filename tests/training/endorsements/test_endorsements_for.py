"""What an endorsement is for, and who may give it."""

from __future__ import annotations

import pytest

from syllabus.engine.record import document
from tests.support import factories
from tests.support.cast import Cast
from tests.support.kept import kept
from tests.training.endorsements.test_endorsements import SOLO, given, looked_at, ready
from training import models, record
from training.services.endorsements import endorsements


@kept
def sam(people: Cast) -> models.Student:
    factories.attested(people.sam, document.parse(ready()), at=factories.NOON)
    return people.sam


FOR_A_TEST = [
    pytest.param("knowledge-test", {}, "private airplane knowledge test, and", id="as the kind means it"),
    pytest.param(
        "knowledge-test",
        {"test": "knowledge:instrument-airplane"},
        "instrument airplane knowledge test, and",
        id="another knowledge test",
    ),
    pytest.param(
        "practical-test", {}, "private airplane practical test (single-engine land)", id="a practical test"
    ),
    pytest.param(
        "practical-test",
        {"test": "practical:private-glider", "category": "glider"},
        "prepared for the private glider practical test.",
        id="of another category",
    ),
    pytest.param(
        "practical-test",
        {"test": "practical:private-airplane", "class": "multiengine land"},
        "private airplane practical test (multiengine land)",
        id="of another class",
    ),
    pytest.param(
        "retest",
        {"test": "practical:private-airplane", "training_date": "2026-05-30"},
        "failed the private airplane practical test",
        id="a test that was failed",
    ),
]


@pytest.mark.any_database  # others here and test_signing_authority make these queries on SQLite
@pytest.mark.parametrize(("kind", "fields", "words"), FOR_A_TEST)
def test_the_wording_names_the_test_as_people_do(people, sam, kind, fields, words):
    found = looked_at(people, kind, fields)
    assert found.refusals == ()
    assert words in found.wording
    assert ":" not in found.wording


def test_training_in_a_similar_model_is_said(people, sam):
    assert (
        "the C152, which I find similar"
        in looked_at(people, "pre-solo-training", {"aircraft_model": "C172", "similar_model": "C152"}).wording
    )
    assert "similar" not in looked_at(people, "pre-solo-training", {"aircraft_model": "C172"}).wording


ABOUT = [
    pytest.param("knowledge-test", {}, True, id="nothing named is the private airplane test"),
    pytest.param("knowledge-test", {"test": "knowledge:private-airplane"}, True, id="it by name"),
    pytest.param("knowledge-test", {"test": "knowledge:private-glider"}, False, id="a glider's"),
    pytest.param("knowledge-test", {"category": "glider"}, False, id="a glider's by its category"),
    pytest.param("practical-test", {"class": "single-engine land"}, True, id="the class that is meant"),
    pytest.param("practical-test", {"class": "multiengine land"}, False, id="another class"),
    pytest.param("practical-test", {"test": "practical:commercial-airplane"}, False, id="another rating"),
]


@pytest.mark.parametrize(("kind", "fields", "is_private"), ABOUT)
def test_what_is_for_another_test_rests_on_none_of_the_private_pilots(people, sam, kind, fields, is_private):
    found = looked_at(people, kind, fields).as_json()
    assert found["may_be_given"] is True
    assert any(line["id"].startswith("faa.private-") for line in found["rests_on"]) is is_private


RETEST = {"training_date": "2026-05-30"}
NOT_THEIRS = [
    # 14 CFR 61.215: the endorsement for a knowledge test, no solo flight and no practical test
    pytest.param("ground", "knowledge-test", {}, None, id="ground: knowledge test"),
    pytest.param(
        "ground", "home-study-reviewed", {"test": "knowledge:private-airplane"}, None, id="ground: home study"
    ),
    pytest.param(
        "ground",
        "retest",
        {**RETEST, "test": "knowledge:private-airplane"},
        None,
        id="ground: knowledge retest",
    ),
    pytest.param(
        "ground",
        "retest",
        {**RETEST, "test": "practical:private-airplane"},
        "14 CFR 61.215",
        id="ground: practical retest",
    ),
    pytest.param("ground", "solo-90-day", SOLO, "14 CFR 61.215", id="ground: solo"),
    pytest.param("ground", "practical-test", {}, "14 CFR 61.215", id="ground: practical test"),
    # 14 CFR 61.41: such an instructor only certifies that training was given
    pytest.param("foreign", "solo-90-day", SOLO, "14 CFR 61.41", id="foreign: solo"),
    pytest.param("foreign", "practical-test", {}, "14 CFR 61.41", id="foreign: practical test"),
    pytest.param("armed-forces", "knowledge-test", {}, "14 CFR 61.41", id="armed forces: knowledge test"),
    pytest.param("flight", "practical-test", {}, None, id="flight: practical test"),
]


@pytest.mark.any_database  # others here and test_endorsements_at_once make these queries on SQLite
@pytest.mark.parametrize(("signs_as", "kind", "fields", "citation"), NOT_THEIRS)
def test_what_is_not_theirs_to_give_is_refused(people, sam, signs_as, kind, fields, citation):
    models.Role.objects.filter(user=people.ida).update(instructor_kind=signs_as)
    found = looked_at(people, kind, fields)
    assert [each.citation for each in found.refusals if each.place == "instructor"] == [citation][
        : bool(citation)
    ]
    if citation:
        with pytest.raises(endorsements.AgainstTheRule):
            given(people, kind, fields)
    else:
        row = given(people, kind, fields).endorsement
        assert record.entry_of(row, "endorsements").instructor.kind == signs_as


def test_a_retest_by_a_ground_instructor_that_names_no_test_lacks_the_test_alone(people, sam):
    models.Role.objects.filter(user=people.ida).update(instructor_kind="ground")
    assert [each.place for each in looked_at(people, "retest", RETEST).refusals] == ["test"]


def test_a_test_of_the_other_sort_is_an_error_at_its_field(people, sam):
    with pytest.raises(endorsements.EndorsementError) as wrong:
        looked_at(people, "knowledge-test", {"test": "practical:private-airplane"})
    assert [fault.place for fault in wrong.value.errors] == ["test"]
