"""Endorsements given here: what is shown, what is refused, what is sealed, and how one ends."""

from __future__ import annotations

import dataclasses
import datetime as dt
import uuid
from fractions import Fraction
from itertools import chain
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from syllabus.engine.record import document
from syllabus.engine.record import record as engine
from syllabus.engine.record.limits import Limits
from syllabus.law import endorsements as catalogue
from syllabus.law import rulebook
from tests.support import factories
from tests.support.cast import IDAS_CERTIFICATE, Cast
from tests.support.kept import kept
from training import models, record, reports
from training.ledger.models import Entry as Leaf
from training.services import access
from training.services.endorsements import endorsements
from training.services.errors import Conflict, NotAllowed
from training.services.signing.seals import tree_of
from training.services.transfer import handover_pages

#: Noon in Chicago; the school's day is 2 June 2026.
AT = dt.datetime(2026, 6, 2, 17, tzinfo=dt.UTC)
TODAY = "2026-06-02"
IDA = {"name": "Ida Example", "certificate": IDAS_CERTIFICATE}
ITEMS = [*(f"presolo.d-{n:02d}" for n in range(1, 16)), *(f"soloxc.e-{n:02d}" for n in range(1, 13))]


def ready(**more: Any) -> dict[str, Any]:
    """A record with everything that solo flight in a C172 asks for, but the solo endorsement itself."""
    return {
        "format": "training-record/1",
        "student": {"name": "Sam Example", "birth_date": "2006-05-17"},
        "flights": [
            {
                "id": "f1",
                "date": "2026-05-30",
                "aircraft": {"model": "C172", "category": "airplane", "class": "single-engine land"},
                "times": {"total": "1.2 h", "dual": "1.2 h"},
                "instructor": IDA,
            }
        ],
        "items": [
            {"id": name, "item": name, "date": "2026-05-30", "grade": "perform", "instructor": IDA}
            for name in ITEMS
        ],
        "documents": [
            {"id": "english", "kind": "english-proficiency", "issued": "2026-01-10"},
            {"id": "student", "kind": "student-pilot-certificate", "issued": "2026-01-10"},
            {"id": "medical", "kind": "medical", "class": "third", "issued": "2026-01-05"},
        ],
        "tests": [
            {
                "id": "t1",
                "kind": "pre-solo-knowledge",
                "date": "2026-05-20",
                "result": "pass",
                "aircraft_model": "C172",
                "instructor": IDA,
            }
        ],
        "endorsements": [
            {
                "id": "e1",
                "kind": "pre-solo-training",
                "given": "2026-05-30",
                "aircraft_model": "C172",
                "instructor": IDA,
            }
        ],
        **more,
    }


SOLO = {"aircraft_model": "C172", "training_date": "2026-05-30"}


@kept
def sam(people: Cast) -> models.Student:
    factories.attested(people.sam, document.parse(ready()), at=factories.NOON)
    return people.sam


def looked_at(
    people: Cast, kind: str, fields: dict[str, Any], *, by: models.User | None = None, at: dt.datetime = AT
) -> endorsements.Checked:
    return endorsements.check(people.sam, kind, fields, by=by or people.ida, at=at, via="test")


def given(
    people: Cast,
    kind: str = "solo-90-day",
    fields: dict[str, Any] | None = None,
    *,
    entry: uuid.UUID | None = None,
    by: models.User | None = None,
    at: dt.datetime = AT,
    judgement: str = "",
) -> endorsements.Given:
    return endorsements.give(
        people.sam,
        entry or uuid.uuid4(),
        kind,
        SOLO if fields is None else fields,
        by=by or people.ida,
        at=at,
        via="test",
        judgement=judgement,
    )


# What is shown


@pytest.mark.any_database  # others here make these queries on SQLite
def test_a_solo_endorsement_shows_everything_it_rests_on_and_its_last_day(people, sam):
    found = looked_at(people, "solo-90-day", SOLO).as_json()

    assert {line["id"]: line["met"] for line in found["rests_on"]} == {
        "training-by-the-signer": True,
        "faa.first-solo.age": True,
        "faa.first-solo.english": True,
        "faa.first-solo.certificate": True,
        "faa.first-solo.medical": True,
        "faa.first-solo.knowledge-test": True,
        "faa.first-solo.maneuvers": True,
        "faa.first-solo.training-endorsement": True,
    }
    assert found["rests_on"][0]["counted"] == [
        {"id": "f1", "gave": "1.2 h on 2026-05-30", "code": "signer.gave", "provenance": "attested"}
    ]
    assert found["refusals"] == []
    assert found["may_be_given"] is True
    assert found["last_day"] == "2026-08-28"  # 14 CFR 61.87(n): 90 days from the training of 30 May
    assert "Sam Example in the C172 on 2026-05-30" in found["wording"]
    assert all(line["citation"] for line in found["rests_on"])


LACKING = [
    pytest.param({"items": []}, "faa.first-solo.maneuvers", id="the maneuvers are not at standard"),
    pytest.param({"tests": []}, "faa.first-solo.knowledge-test", id="no knowledge test for the model"),
    pytest.param({"documents": []}, "faa.first-solo.medical", id="no medical on that day"),
    pytest.param({"endorsements": []}, "faa.first-solo.training-endorsement", id="training not endorsed"),
]


@pytest.mark.any_database  # others here and test_reminders make these queries on SQLite
@pytest.mark.parametrize(("lacks", "requirement"), LACKING)
def test_what_is_lacking_is_shown_and_kept_and_the_instructor_decides(people, lacks, requirement):
    factories.attested(people.sam, document.parse(ready(**lacks)), at=factories.NOON)
    found = looked_at(people, "solo-90-day", SOLO).as_json()

    assert {line["id"]: line["met"] for line in found["rests_on"]}[requirement] is False
    assert found["may_be_given"] is True
    assert any(warning.startswith("Not met on 2026-06-02") for warning in found["warnings"])

    done = given(people, judgement="Flown today with another record book at hand.")
    assert done.seal.shown == found
    assert done.seal.judgement == "Flown today with another record book at hand."


def test_training_by_somebody_else_is_a_question_not_a_refusal(people):
    said = ready()
    said["flights"][0]["instructor"] = {"name": "Bo Example", "certificate": "0000002CFI"}
    factories.attested(people.sam, document.parse(said), at=factories.NOON)
    found = looked_at(people, "solo-90-day", SOLO).as_json()

    line = found["rests_on"][0]
    assert line["met"] is None
    assert line["not_counted"] == [
        {
            "id": "f1",
            "why": "1.2 h on 2026-05-30 was given by Bo Example",
            "code": "signer.gave-another",
            "provenance": "attested",
        }
    ]
    assert found["rests_on"][-1]["id"] == "faa.first-solo.training-endorsement"
    assert "who endorsed, gave the training" in found["rests_on"][-1]["ask"][0]["missing"]
    assert any(
        "a lesson on 2026-05-30 that the signer gave in the C172" in each for each in found["warnings"]
    )
    assert found["may_be_given"] is True


def test_a_retest_by_another_than_the_retraining_instructor_warns_unless_it_is_on_record(people, sam):
    failed = {"test": "practical:private-airplane"}
    fields = {**failed, "training_date": "2026-06-01"}
    flown = {**failed, "training_date": "2026-05-30"}
    assert not any("Not on record" in each for each in looked_at(people, "retest", flown).warnings)
    assert any("Not on record" in each for each in looked_at(people, "retest", fields).warnings)
    said = ready(ground=[{"id": "g1", "date": "2026-06-01", "time": "1 h", "instructor": IDA}])
    factories.attested(people.sam, document.parse(said), at=AT)
    assert not any("Not on record" in each for each in looked_at(people, "retest", fields).warnings)


# What the rule forbids

FORBIDDEN = [
    pytest.param(
        "solo-90-day",
        {**SOLO, "training_date": "2026-06-03"},
        "training_date",
        id="training after the endorsement",
    ),
    pytest.param(
        "solo-90-day", {**SOLO, "training_date": "2026-03-03"}, "training_date", id="training 91 days ago"
    ),
    pytest.param("solo-90-day", {**SOLO, "given": "2026-06-03"}, "given", id="dated tomorrow"),
    pytest.param("solo-90-day", {"aircraft_model": "C172"}, "training_date", id="without the training's day"),
    pytest.param("solo-90-day", {"training_date": "2026-05-30"}, "aircraft_model", id="without the model"),
    pytest.param(
        "solo-90-day", {**SOLO, "expires": "2026-08-29"}, "expires", id="a day longer than the rule's limit"
    ),
    pytest.param("solo-90-day", {**SOLO, "expires": "2026-06-01"}, "expires", id="ended before it is given"),
    pytest.param(
        "solo-cross-country-flight",
        {
            "aircraft_model": "C172",
            "route": ["KGRB", "KMTW", "KGRB"],
            "flight_date": "2026-06-01",
            "conditions": "wind calm",
        },
        "flight_date",
        id="for a flight of yesterday",
    ),
    pytest.param(
        "solo-cross-country-flight",
        {"aircraft_model": "C172", "route": ["KGRB", "KMTW", "KGRB"], "flight_date": "2026-06-02"},
        "conditions",
        id="a flight whose conditions were not reviewed",
    ),
    pytest.param(
        "solo-cross-country-repeated",
        {"route": ["KGRB", "KMKE"]},
        "route",
        id="a standing route that reaches beyond 50 NM",
    ),
    pytest.param("solo-class-b", {}, "area", id="Class B without its area"),
    pytest.param("solo-class-b-airport", {"area": None}, "airport", id="a Class B airport without its name"),
    pytest.param("retest", {"training_date": "2026-05-30"}, "test", id="a retest that names no test"),
    pytest.param("home-study-reviewed", {}, "test", id="home study for no test"),
    pytest.param("citizenship", {}, "conditions", id="citizenship without the document shown"),
    pytest.param("solo-unrated", {}, "aircraft_model", id="solo without a rating in an aircraft not named"),
]


@pytest.mark.parametrize(("kind", "fields", "place"), FORBIDDEN)
def test_what_the_rule_forbids_is_refused_and_nothing_is_written(people, sam, kind, fields, place):
    found = looked_at(people, kind, fields)
    assert place in [each.place for each in found.refusals]
    assert all(each.citation for each in found.refusals)

    with pytest.raises(endorsements.AgainstTheRule) as refused:
        given(people, kind, fields)
    assert refused.value.report.refusals == found.refusals
    assert not models.EndorsementSeal.objects.exists()
    assert not Leaf.objects.exists()


ON_THE_EDGE = [
    pytest.param({**SOLO, "training_date": "2026-06-02"}, "2026-08-31", id="training today"),
    pytest.param({**SOLO, "training_date": "2026-03-04"}, "2026-06-02", id="training 90 days ago"),
    pytest.param({**SOLO, "expires": "2026-08-28"}, "2026-08-28", id="the rule's own last day"),
    pytest.param({**SOLO, "expires": "2026-06-02"}, "2026-06-02", id="for today alone"),
]


@pytest.mark.any_database  # others here and test_reminders make these queries on SQLite
@pytest.mark.parametrize(("fields", "last"), ON_THE_EDGE)
def test_what_lies_on_the_edge_is_given(people, fields, last):
    said = ready()
    if (day := fields["training_date"]) != SOLO["training_date"]:
        said["flights"].append({**said["flights"][0], "id": "f2", "date": day})
    factories.attested(people.sam, document.parse(said), at=factories.NOON)
    assert looked_at(people, "solo-90-day", fields).as_json()["last_day"] == last
    given(people, fields=fields)
    until = reports.eligibility(people.sam, "faa.first-solo", AT.date()).eligible_until
    assert until == dt.date.fromisoformat(last)


def test_a_longer_limit_is_refused_with_the_rules_own_last_day(people, sam):
    [refusal] = looked_at(people, "solo-90-day", {**SOLO, "expires": "2026-08-29"}).refusals
    assert "2026-08-28" in refusal.message


# Who gives it


def test_an_instructor_without_a_certificate_number_is_refused(people, sam):
    models.Role.objects.filter(user=people.ida).update(certificate="")
    [refusal] = looked_at(people, "solo-90-day", SOLO).refusals
    assert "has no certificate number" in refusal.message


RECENT = [
    pytest.param("2026-06-01", True, id="lapsed yesterday"),
    pytest.param("2026-06-02", False, id="lasts today"),
    pytest.param(None, False, id="not recorded"),
]


@pytest.mark.parametrize(("until", "refused"), RECENT)
def test_recent_experience_counts_on_the_day_it_is_given(people, sam, until, refused):
    models.Role.objects.filter(user=people.ida).update(recent_experience_until=until)
    found = looked_at(people, "solo-90-day", SOLO)
    assert [each.citation for each in found.refusals] == (["14 CFR 61.197"] if refused else [])
    assert any("recent experience" in each for each in found.warnings) is (until is None)


def test_an_administrator_is_no_instructor(people, sam):
    [refusal] = looked_at(people, "solo-90-day", SOLO, by=people.ada).refusals
    assert "is not an instructor at Lakeside Flying" in refusal.message


def test_nobody_endorses_themselves(people, sam):
    sam.user = people.ida
    sam.save()
    assert any(
        "cannot endorse yourself" in each.message for each in looked_at(people, "solo-90-day", SOLO).refusals
    )


def test_an_instructor_who_does_not_teach_the_student_may_not_even_look(people, sam):
    with pytest.raises(NotAllowed):
        looked_at(people, "solo-90-day", SOLO, by=people.olaf)
    with pytest.raises(NotAllowed):
        given(people, by=people.olaf)


# What cannot be read

UNREADABLE = [
    pytest.param("solo-90-days", SOLO, "kind", id="a kind a letter away"),
    pytest.param("picnic", {}, "kind", id="a kind that is not in the catalogue"),
    pytest.param("solo-90-day", {**SOLO, "area": "Chicago"}, "area", id="a field of another kind"),
    pytest.param("solo-90-day", {**SOLO, "hours": 3}, "hours", id="a field of none"),
    pytest.param(
        "solo-90-day", {**SOLO, "training_date": "30 May"}, "training_date", id="a day that is none"
    ),
    pytest.param(
        "solo-90-day", {**SOLO, "instructor": IDA}, "instructor", id="somebody else's name under it"
    ),
    pytest.param("solo-90-day", [], "", id="a list"),
    pytest.param("solo-90-day", {**SOLO, "limits": {"wind": "fast"}}, "limits.wind", id="no limit"),
    pytest.param("home-study-reviewed", {"limits": {"wind": 9}}, "limits", id="limits of no solo"),
]


@pytest.mark.parametrize(("kind", "fields", "place"), UNREADABLE)
def test_what_cannot_be_read_is_refused_with_its_place(people, sam, kind, fields, place):
    with pytest.raises(endorsements.EndorsementError) as wrong:
        looked_at(people, kind, fields)
    assert [fault.place for fault in wrong.value.errors] == [place]


# What is given


def test_what_is_given_stands_on_record_sealed_and_in_the_ledger(people, sam):
    before = people.sam.version
    entry = uuid.uuid4()
    done = given(people, entry=entry)

    assert done.created is True
    [on_record] = [each for each in record.of(people.sam).endorsements if each.id == str(entry)]
    assert on_record.instructor == engine.Instructor("Ida Example", IDAS_CERTIFICATE)
    assert on_record.training_date == dt.date(2026, 5, 30)
    assert reports.eligibility(people.sam, "faa.first-solo", AT.date()).eligible
    leaf = Leaf.objects.get(tree=tree_of(people.school), index=done.seal.ledger_index)
    assert (leaf.kind, leaf.subject) == ("endorsement.given", str(people.sam.ref))
    assert str(entry) in leaf.kept.body
    log = models.AccessLog.objects.filter(student=people.sam).latest("pk")
    assert (log.user, log.action, log.what) == (people.ida, access.WRITE, "endorsement solo-90-day")
    people.sam.refresh_from_db()
    assert people.sam.version != before


def test_limits_are_given_as_quantities_and_stand_in_the_text(people, sam):
    limits = {"wind": "12", "latest": "17:00", "days_since_dual": 14}
    entry = uuid.uuid4()
    report = looked_at(people, "solo-90-day", {**SOLO, "limits": limits})
    assert "Limits: wind at most 12 kt; back by 17:00; at most 14 days since" in report.wording
    done = given(people, fields={**SOLO, "limits": limits}, entry=entry)
    [on_record] = [each for each in record.of(people.sam).endorsements if each.id == str(entry)]
    assert on_record.limits == Limits(wind=Fraction(12), latest=dt.time(17), days_since_dual=14)
    leaf = Leaf.objects.get(tree=tree_of(people.school), index=done.seal.ledger_index)
    assert '"limits":{"days_since_dual":14,"latest":"17:00","wind":"12 kt"}' in leaf.kept.body


def test_the_same_again_is_answered_with_what_stands(people, sam):
    entry = uuid.uuid4()
    first = given(people, entry=entry)
    later = AT + dt.timedelta(days=40)
    again = given(people, entry=entry, at=later)

    assert (again.created, again.endorsement, again.seal) == (False, first.endorsement, first.seal)
    assert models.Endorsement.objects.filter(entry_id=str(entry)).count() == 1
    assert Leaf.objects.count() == 1


OTHER = [
    pytest.param({"fields": {**SOLO, "training_date": "2026-05-29"}}, id="another day of training"),
    pytest.param({"kind": "retest", "fields": {"training_date": "2026-05-30"}}, id="another kind"),
    pytest.param({"judgement": "on second thought"}, id="another judgement"),
    pytest.param({"fields": {**SOLO, "given": "2026-06-01"}}, id="another day"),
]


@pytest.mark.any_database  # others here and test_endorsements_at_once make these queries on SQLite
@pytest.mark.parametrize("other", OTHER)
def test_the_same_id_for_something_else_is_a_conflict(people, sam, other):
    entry = uuid.uuid4()
    given(people, entry=entry)
    with pytest.raises(Conflict, match=str(entry)):
        given(people, entry=entry, **other)
    assert Leaf.objects.count() == 1


def test_an_id_that_an_imported_endorsement_has_is_a_conflict(people):
    entry = uuid.uuid4()
    said = ready()
    said["endorsements"][0]["id"] = str(entry)
    factories.attested(people.sam, document.parse(said), at=factories.NOON)
    with pytest.raises(Conflict):
        given(people, entry=entry)


def test_the_schools_own_wording_stands_in_the_place_of_the_catalogues(people, sam):
    models.EndorsementWording.objects.create(
        school=people.school, kind="solo-90-day", wording="{student}: solo, {aircraft_model}."
    )
    fields = {**SOLO, "conditions": "Wind below 10 kt."}
    assert looked_at(people, "solo-90-day", fields).wording == "Sam Example: solo, C172. Wind below 10 kt."


WORDED = [
    pytest.param("picnic", "Fine day.", "kind", id="a kind that is not in the catalogue"),
    pytest.param("solo-90-day", "{area}", "wording", id="a placeholder of another kind"),
    pytest.param("solo-90-day", "{student", "wording", id="half a pair of braces"),
]


@pytest.mark.parametrize(("kind", "wording", "field"), WORDED)
def test_a_schools_wording_that_cannot_be_filled_in_is_not_kept(people, kind, wording, field):
    row = models.EndorsementWording(school=people.school, kind=kind, wording=wording)
    with pytest.raises(ValidationError) as wrong:
        row.full_clean()
    assert list(wrong.value.message_dict) == [field]


# The lives


def test_every_life_is_the_rulebooks():
    """No kind has a length of its own: what it proves is there, and the words of ``life`` have no number."""
    listed, rules = catalogue.current(), rulebook.current()
    for kind in listed.kinds.values():
        assert len(listed.proves(kind, rules)) == len(kind.proves)
        for requirement in listed.proves(kind, rules):
            named = requirement.versions[-1].params
            close_by = [named[key]["endorsements"] for key in ("repeated", "nearby") if key in named]
            words = [*named.get("endorsements", ()), *named.get("for_flight", ()), *chain(*close_by)]
            assert kind.kind in [*words, named.get("endorsement")], (kind.kind, requirement.id)


LIVES = [
    # 14 CFR 61.87(n), 61.87(o): 90 days from the training; 61.95: 90 days from the endorsement
    pytest.param("solo-90-day", SOLO, "2026-08-28", id="solo counts from the training"),
    pytest.param("solo-night", {**SOLO, "airport": "KGRB"}, "2026-08-28", id="night solo as well"),
    pytest.param(
        "solo-class-b",
        {"area": "Chicago", "training_date": "2026-05-30"},
        "2026-08-31",
        id="Class B counts from the endorsement",
    ),
    # 14 CFR 61.93(c)(3)
    pytest.param(
        "solo-cross-country-flight",
        {
            "aircraft_model": "C172",
            "route": ["KGRB", "KMTW", "KGRB"],
            "flight_date": "2026-06-03",
            "conditions": "wind calm",
        },
        "2026-06-03",
        id="one flight on its day",
    ),
    pytest.param("solo-cross-country-repeated", {"route": ["KGRB", "KMTW"]}, None, id="a standing route"),
    pytest.param("pre-solo-training", {"aircraft_model": "C172"}, None, id="pre-solo training stands"),
    pytest.param("knowledge-test", {}, None, id="the knowledge test's has no end"),
    # 14 CFR 61.31(e), (f), (g), (i): one-time endorsements
    *(
        pytest.param(kind, {}, None, id=f"{kind} is given once")
        for kind in ("complex", "high-performance", "high-altitude", "tailwheel")
    ),
]


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(("kind", "fields", "last"), LIVES)
def test_the_last_day_is_the_engines(people, sam, kind, fields, last):
    found = looked_at(people, kind, fields)
    assert found.refusals == ()
    assert found.as_json()["last_day"] == last


def test_a_flight_of_tomorrow_is_given_with_a_word_on_the_conditions(people, sam):
    given(people)
    found = looked_at(
        people,
        "solo-cross-country-flight",
        {
            "aircraft_model": "C172",
            "route": ["KGRB", "KMTW", "KGRB"],
            "flight_date": "2026-06-03",
            "conditions": "wind calm",
        },
    ).as_json()
    assert found["on"] == "2026-06-03"
    assert any("14 CFR 61.195(d)(2)" in each for each in found["warnings"])
    assert "faa.solo-cross-country.flight-endorsement" not in [each["id"] for each in found["rests_on"]]


# Each kind

KINDS = [pytest.param(kind, id=kind.kind) for kind in catalogue.current().kinds.values()]


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_can_be_looked_at_and_given(people, sam, kind):
    every = {
        "aircraft_model": "C172",
        "category": "airplane",
        "class": "single-engine land",
        "similar_model": "C152",
        "airport": "KGRB",
        "area": "Chicago",
        "route": ["KGRB", "KMTW"],
        "flight_date": TODAY,
        "training_date": "2026-05-30",
        "conditions": "Wind below 10 kt.",
    }
    every["test"] = f"{kind.tests[0]}:private-airplane" if kind.tests else ""
    fields = {name: every[name] for name in kind.fields}
    found = looked_at(people, kind.kind, fields)
    assert found.refusals == ()
    assert "____" not in found.wording
    assert given(people, kind.kind, fields).seal.wording == found.wording
    assert dataclasses.asdict(kind)["verified"] in ("read", "second-hand", "memory")


def test_a_kind_may_name_class_test_and_similar_model(people, sam, monkeypatch):
    """In the report, in the words that are signed, on record, and on the page to print."""
    known = catalogue.current().kinds
    names = {**known["retest"].fields, "class": True, "test": True, "similar_model": False}
    wording = "{student}: {test} in {class}, trained in {similar_model} on {training_date}."
    kind = dataclasses.replace(known["retest"], fields=names, wording=wording)
    monkeypatch.setattr(catalogue, "current", lambda: catalogue.Catalogue({**known, "retest": kind}))
    said = {
        "training_date": "2026-05-30",
        "class": "multiengine land",
        "test": "practical:private-airplane",
        "similar_model": "C152",
    }
    without = {key: value for key, value in said.items() if key != "class"}
    assert "class" in [each.place for each in looked_at(people, "retest", without).refusals]
    made = given(people, "retest", said)
    assert made.seal.wording.endswith(
        ": private airplane practical test (multiengine land) in multiengine land, trained in C152 on"
        " 2026-05-30."
    )
    whole = document.dump(record.of(people.sam))
    [kept] = [each for each in whole["endorsements"] if each["kind"] == "retest"]
    assert {key: kept[key] for key in said} == said
    pages = handover_pages.endorsements(people.sam, whole, {}, AT)["endorsements"]
    page = next(each for each in pages if each["title"] == "Retest")
    assert ("Class", "multiengine land") in page["facts"]
    assert ("Test", "Practical test, private airplane") in page["facts"]
    assert ("Trained in the similar model", "C152") in page["facts"]
