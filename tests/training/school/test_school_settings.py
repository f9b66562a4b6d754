"""What a school sets: changed by its administrators alone, kept, and drawn into the version of its rules."""

from __future__ import annotations

import datetime as dt
from importlib import import_module
from typing import Any

import pytest
from django.apps import apps

from syllabus.engine.rules.aircraft_models import Model
from syllabus.law import aircraft_models as shipped
from tests.support.cast import Cast
from training import models
from training.models.school.schools import CLAIMS_ASKED
from training.record.aircraft_models import links_of
from training.services.errors import NotAllowed
from training.services.records.record_changes import ReasonError
from training.services.school import aircraft_models, school_settings
from training.services.school.aircraft_models import Link, ModelError
from training.services.school.school_settings import SettingsError

AT = dt.datetime(2026, 11, 20, 15, tzinfo=dt.UTC)


def rules_version(people: Cast) -> Any:
    return models.School.objects.values_list("rules_version", flat=True).get(pk=people.school.pk)


def changed(people: Cast, **values: Any) -> models.School:
    return school_settings.change(
        people.school.slug, values, by=people.ada, at=AT, reason="tried", confirmed={"by": "password"}
    )


def replaced(people: Cast, *links: Link) -> list[Link]:
    return aircraft_models.change(people.school.slug, links, by=people.ada, at=AT)


def linked(people: Cast, spelling: str, model: str) -> list[Link]:
    return aircraft_models.link(people.school.slug, spelling, model, by=people.ada, at=AT)


def all_links(people: Cast) -> Any:
    return shipped.current() | links_of(people.school.pk)


def test_a_school_that_never_chose_has_the_defaults(people: Cast) -> None:
    people.school.refresh_from_db()
    assert people.school.claims_asked == ["endorsements", "tests", "documents", "certificates"]
    assert people.school.taxi_allowance_minutes == 30


def test_a_school_that_never_chose_is_brought_up_to_the_default_and_one_that_chose_is_not(
    people: Cast,
) -> None:
    migration = import_module("training.migrations.0027_claimed_certificates_are_asked_about")
    chose = ["documents", "tests"]
    models.School.objects.filter(pk=people.school.pk).update(claims_asked=migration.BEFORE)
    models.School.objects.filter(pk=people.elsewhere.pk).update(claims_asked=chose)
    migration.ask(apps, None)
    asked = dict(models.School.objects.values_list("slug", "claims_asked"))
    assert asked == {"lakeside": list(CLAIMS_ASKED), "hilltop": chose}


def test_a_change_is_kept_and_draws_the_version_of_the_rules(people: Cast) -> None:
    before = rules_version(people)
    school = changed(people, claims_asked=["tests", "flights"], taxi_allowance_minutes=18)
    assert (school.claims_asked, school.taxi_allowance_minutes) == (["tests", "flights"], 18)
    assert school.rules_version == rules_version(people) != before
    [kept] = models.SchoolChange.objects.all()
    assert (kept.what, kept.by, kept.at) == ("settings", people.ada, AT)
    assert kept.before == {
        "claims_asked": ["endorsements", "tests", "documents", "certificates"],
        "taxi_allowance_minutes": 30,
    }
    assert kept.after == {"claims_asked": ["tests", "flights"], "taxi_allowance_minutes": 18}


def test_which_claims_are_asked_changes_by_nobody_without_reason_and_confirmation(people: Cast) -> None:
    for more in ({"reason": "tried"}, {"confirmed": {"by": "password"}}):
        with pytest.raises((NotAllowed, ReasonError)):
            school_settings.change(people.school.slug, {"claims_asked": []}, by=people.ada, at=AT, **more)
    assert not models.SchoolChange.objects.exists()


def test_the_same_again_is_no_change(people: Cast) -> None:
    before = rules_version(people)
    changed(people, taxi_allowance_minutes=30)
    assert rules_version(people) == before
    assert not models.SchoolChange.objects.exists()


@pytest.mark.parametrize(
    ("values", "said"),
    [
        pytest.param({"claims_asked": ["grounds"]}, "claims_asked: 'grounds' is not a list", id="unknown"),
        pytest.param({"claims_asked": ["tests", "tests"]}, "claims_asked: names a list twice", id="twice"),
        pytest.param({"claims_asked": "tests"}, "claims_asked: is not a list", id="no list"),
        pytest.param({"taxi_allowance_minutes": 241}, "taxi_allowance_minutes: ", id="more than four hours"),
        pytest.param({"taxi_allowance_minutes": -1}, "taxi_allowance_minutes: ", id="less than nothing"),
    ],
)
def test_what_cannot_be_set_is_told_and_nothing_is(people: Cast, values: Any, said: str) -> None:
    before = rules_version(people)
    with pytest.raises(SettingsError) as caught:
        changed(people, **values)
    assert str(caught.value).startswith(said) or said in str(caught.value)
    assert rules_version(people) == before


@pytest.mark.parametrize("who", ["ida", "olaf", "sams_account"])
def test_only_an_administrator_of_the_school_changes_anything(people: Cast, who: str) -> None:
    by = getattr(people, who)
    with pytest.raises(NotAllowed):
        school_settings.change(people.school.slug, {"taxi_allowance_minutes": 1}, by=by, at=AT)
    with pytest.raises(NotAllowed):
        aircraft_models.link(people.school.slug, "Skyhawk X", "C172", by=by, at=AT)
    with pytest.raises(NotAllowed):
        aircraft_models.change(people.school.slug, [], by=by, at=AT)
    with pytest.raises(NotAllowed):
        aircraft_models.add(people.school.slug, "X1", None, None, by=by, at=AT)
    with pytest.raises(NotAllowed):
        aircraft_models.unlink(people.school.slug, "X1", by=by, at=AT)
    assert not models.SchoolChange.objects.exists()


# Aircraft models


def test_a_linked_spelling_means_the_model_and_unlinked_it_does_not(people: Cast) -> None:
    assert all_links(people).same("Cessna Trainer", "C172") is None
    assert linked(people, " Cessna Trainer ", "skyhawk") == [Link("Cessna Trainer", "C172")]
    assert all_links(people).same("cessna trainer", "C172S") is True
    assert all_links(people).find("Cessna Trainer") == Model("C172", "airplane", "single-engine land")
    drawn = rules_version(people)
    aircraft_models.unlink(people.school.slug, "CESSNA-TRAINER", by=people.ada, at=AT)
    assert all_links(people).same("Cessna Trainer", "C172") is None
    assert rules_version(people) != drawn
    assert models.SchoolChange.objects.filter(what="aircraft models").count() == 2


def test_a_school_may_tell_apart_what_the_table_takes_for_one(people: Cast) -> None:
    assert all_links(people).same("Warrior II", "PA-28-181") is True
    aircraft_models.add(people.school.slug, "Warrior II", "airplane", None, by=people.ada, at=AT)
    linked(people, "PA-28-161", "warrior ii")
    assert all_links(people).same("Warrior II", "PA-28-181") is False
    assert all_links(people).same("Warrior II", "PA-28-161") is True
    shown = {each.model.name: each for each in aircraft_models.listed(aircraft_models.own(people.school))}
    assert shown["Warrior II"].linked == ("PA-28-161",)
    assert not {"PA-28-161", "Warrior II"} & set(shown["P28A"].spellings)
    assert "PA-28-181" in shown["P28A"].spellings


def test_a_model_that_the_school_added_has_its_category_and_class(people: Cast) -> None:
    replaced(people, Link("X1", "X1", "rotorcraft", "gyroplane"), Link("X1 Star", "x-1"))
    assert all_links(people).find("X1 star") == Model("X1", "rotorcraft", "gyroplane")


def test_the_links_of_another_school_are_not_its_own(people: Cast) -> None:
    linked(people, "Cessna Trainer", "C172")
    other = models.School.objects.exclude(pk=people.school.pk).first()
    assert other is not None
    assert links_of(other.pk).linked == {}


def test_the_same_links_again_are_no_change(people: Cast) -> None:
    links = [Link("X1", "X1"), Link("X1 Star", "X1")]
    replaced(people, *links)
    drawn = rules_version(people)
    assert replaced(people, *reversed(links)) == sorted(links, key=lambda each: each.spelling)
    assert rules_version(people) == drawn
    assert models.SchoolChange.objects.count() == 1


def test_replacing_takes_away_what_is_not_sent(people: Cast) -> None:
    replaced(people, Link("X1", "X1"), Link("X1 Star", "X1"))
    assert replaced(people, Link("X1 Star", "C172")) == [Link("X1 Star", "C172")]
    assert replaced(people) == []


@pytest.mark.parametrize(
    ("links", "place", "said"),
    [
        ([Link("Trainer", "Moth")], "spellings[0].model", "'Moth' is not a known model"),
        ([Link("X1", "X1"), Link("x-1", "C172")], "spellings[1].spelling", "is already linked"),
        (
            [Link("X1", "C172"), Link("Y1", "X1")],
            "spellings[1].model",
            "linked to C172; link to that instead",
        ),
        ([Link("C172", "C152")], "spellings[0].spelling", "is itself a model"),
        ([Link("c-172", "C172")], "spellings[0].model", "is a model already"),
        ([Link("X1", "C172", "airplane")], "spellings[0].category", "is the model's"),
        ([Link("X1", "C172", None, "helicopter")], "spellings[0].class", "is the model's"),
        ([Link("X1", "X1", "kite")], "spellings[0].category", "'kite' is not a category"),
        ([Link("X1", "X1", None, "kite")], "spellings[0].class", "'kite' is not a class"),
        ([Link("X1", "X1", "airplane", "helicopter")], "spellings[0].class", "is not a class of airplane"),
        ([Link("X1", "X1", "glider", "helicopter")], "spellings[0].class", "is not a class of glider"),
        ([Link("--", "C172")], "spellings[0].spelling", "no letter and no digit"),
        ([Link("X1", "?")], "spellings[0].model", "no letter and no digit"),
        ([Link(f"X{each}", "C172") for each in range(1001)], "spellings", "1001 links; at most 1000"),
    ],
)
def test_what_is_no_link_is_told_with_its_place(
    people: Cast, links: list[Link], place: str, said: str
) -> None:
    with pytest.raises(ModelError) as caught:
        replaced(people, *links)
    [fault] = caught.value.errors
    assert fault.place == place
    assert said in fault.message
    assert not models.ModelSpelling.objects.exists()


def test_a_model_that_other_spellings_mean_is_not_taken_away(people: Cast) -> None:
    replaced(people, Link("X1", "X1"), Link("X1 Star", "X1"))
    with pytest.raises(ModelError, match="X1 Star means this model"):
        aircraft_models.unlink(people.school.slug, "X1", by=people.ada, at=AT)
    with pytest.raises(ModelError, match="is not linked by the school"):
        aircraft_models.unlink(people.school.slug, "Skyhawk", by=people.ada, at=AT)


def test_a_fault_of_one_more_link_is_told_at_its_field(people: Cast) -> None:
    linked(people, "Cessna Trainer", "C172")
    with pytest.raises(ModelError) as caught:
        linked(people, "Trainer", "Moth")
    assert [each.place for each in caught.value.errors] == ["model"]
