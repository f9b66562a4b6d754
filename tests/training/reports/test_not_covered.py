"""A milestone that the rules do not cover is named as such by every report, and never counts as met."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import uuid
from typing import Any

import pytest

from api.v1.base.examples import RECORD
from syllabus.engine.record import document
from syllabus.engine.rules.question import Context
from syllabus.engine.rules.reasons import NotCovered
from syllabus.law import rulebook
from tests.support import courses, factories, lessons
from tests.support.cast import Cast, cast
from tests.support.kept import kept
from tests.support.uncovered import WHY, refuse
from tests.syllabus.engine.test_audit import LAST, cleared, flight, found
from tests.training.reports.test_eligibility_command import SOLO, ask
from training import models, record, reports
from training.reports import progress
from training.reports.changes import changes
from training.services.endorsements import endorsement_check
from training.services.records import documents
from training.services.reminders import standings
from training.services.school import glance

ON = dt.date(2026, 7, 5)
AT = dt.datetime(2026, 7, 5, 18, tzinfo=dt.UTC)
FIRST_SOLO, NIGHT = "faa.first-solo", "faa.solo-night"


@kept
def people(db: None) -> Cast:
    """Sam's record holds until a day, and asks about solo flight in the C172."""
    made = cast()
    whole = {**RECORD, "student": {"name": "Sam Example", "birth_date": "2006-05-17"}}
    factories.attested(made.sam, document.parse(whole))
    return made


def other_state(student: models.Student) -> None:
    """As after a change of the record: nothing that was worked out before is used again."""
    models.Student.objects.filter(pk=student.pk).update(version=uuid.uuid4())
    student.refresh_from_db(fields=["version"])


def test_the_overview_names_it_and_answers_the_others(people: Cast, monkeypatch: Any) -> None:
    before = reports.overview(people.sam, ON).as_json()
    refuse(monkeypatch, FIRST_SOLO)
    other_state(people.sam)
    after = reports.overview(people.sam, ON).as_json()
    assert after["not_covered"] == [
        {
            "milestone": FIRST_SOLO,
            "title": next(each["title"] for each in before["milestones"] if each["milestone"] == FIRST_SOLO),
            "key": "class",
            "value": "helicopter",
            "why": WHY,
            "code": "scope.category",
        }
    ]
    assert after["milestones"] == [each for each in before["milestones"] if each["milestone"] != FIRST_SOLO]
    assert before["not_covered"] == []


PRACTICAL, KNOWLEDGE = "faa.private-practical-test", "faa.private-knowledge-test"


@pytest.mark.parametrize(
    ("model", "ends"),
    [
        pytest.param("C172", set(), id="an ordinary model"),
        pytest.param("X-99", set(), id="one that nobody knows"),
        pytest.param("R22", {PRACTICAL, KNOWLEDGE}, id="a helicopter"),
        pytest.param("PA44", {PRACTICAL}, id="two engines, which the knowledge test covers"),
    ],
)
def test_a_student_who_trains_in_what_no_rule_covers_is_refused(
    people: Cast, model: str, ends: set[str]
) -> None:
    """And where the rules do cover it, the answer is the same to the byte as without the model."""
    without = {}
    for each, name in ((each, name) for name in ("", model) for each in (PRACTICAL, KNOWLEDGE)):
        models.Student.objects.filter(pk=people.sam.pk).update(training_model=name)
        people.sam.refresh_from_db()
        if not name:
            without[each] = reports.eligibility_json(people.sam, each, ON)
        elif each in ends:
            with pytest.raises(NotCovered, match=model):
                reports.eligibility(people.sam, each, ON)
            assert reports.eligibility(people.sam, each, ON, context=Context(category="airplane"))
        else:
            assert reports.eligibility_json(people.sam, each, ON) == without[each]
    refused = {each.milestone.id for each in reports.overview(people.sam, ON).not_covered}
    assert refused & {PRACTICAL, KNOWLEDGE} == ends


def test_asked_about_alone_it_is_refused(people: Cast, monkeypatch: Any) -> None:
    refuse(monkeypatch, FIRST_SOLO)
    with pytest.raises(NotCovered) as caught:
        reports.eligibility(people.sam, FIRST_SOLO, ON)
    assert (caught.value.milestone, caught.value.key, caught.value.value) == (
        FIRST_SOLO,
        "class",
        "helicopter",
    )


def test_nothing_of_it_has_a_last_day(people: Cast, monkeypatch: Any) -> None:
    assert any(each.requirements[0].startswith(FIRST_SOLO) for each in reports.endings(people.sam, ON))
    other_state(people.sam)
    refuse(monkeypatch)
    assert reports.endings(people.sam, ON) == ()


def test_the_sweep_keeps_it_as_neither_and_says_that_it_changed(people: Cast, monkeypatch: Any) -> None:
    standings.work_out(people.sam.pk, AT)
    refuse(monkeypatch, FIRST_SOLO)
    other_state(people.sam)
    assert standings.work_out(people.sam.pk, AT) is True
    [change] = models.StandingChange.objects.filter(student=people.sam)
    assert change.milestone == FIRST_SOLO
    assert change.after == {"met": None, "eligible_until": None, "gaps": 0}
    summary = models.Standing.objects.get(student=people.sam).summary
    assert [each["milestone"] for each in summary["not_covered"]] == [FIRST_SOLO]
    counts = {each.id: each for each in glance.of(people.school, by=people.ada, at=AT).milestones}
    told = counts[FIRST_SOLO]
    assert (told.yes, told.no, told.open, told.not_covered) == (0, 0, 0, 1)


def test_what_changed_leaves_it_out(people: Cast, monkeypatch: Any) -> None:
    refuse(monkeypatch, FIRST_SOLO)
    found_there = changes(people.sam, factories.NOON - dt.timedelta(days=400), AT)
    assert FIRST_SOLO not in {each.milestone for each in (*found_there.milestones, *found_there.requirements)}


def test_the_next_lesson_is_planned_and_no_solo_lesson_is(monkeypatch: Any, db: None) -> None:
    people = cast()
    courses.enrolled(people)
    refuse(monkeypatch, FIRST_SOLO)
    stands = progress.standing(people.sam, lessons.AT.date())
    assert stands is not None
    assert stands.next.proposal is not None
    lacking, report = progress._lacking(people.sam, lessons.AT.date(), None, stands.progress)
    title = rulebook.current().milestones[FIRST_SOLO].title
    assert str(lacking.barred["solo"]) == f"{title} is not covered by these rules: {WHY}"
    assert report is None or report.milestone.id != FIRST_SOLO


def test_a_document_says_nothing_of_what_is_not_covered(people: Cast, monkeypatch: Any) -> None:
    known = record.of(people.sam)
    medical = next(each for each in known.documents if each.kind == "medical")
    assert documents.good_for(people.sam, medical, ON)
    refuse(monkeypatch)
    assert documents.good_for(people.sam, medical, ON) == []


def test_an_endorsement_of_it_lasts_as_long_as_it_says_itself(people: Cast, monkeypatch: Any) -> None:
    known = record.of(people.sam)
    [given] = known.endorsements
    refuse(monkeypatch)
    assert endorsement_check.last_day(people.sam, known, given) is None
    shorter = dataclasses.replace(given, expires=ON)
    assert endorsement_check.last_day(people.sam, known, shorter) == ON


def test_the_audit_says_that_no_rule_covers_the_flight(monkeypatch: Any) -> None:
    assert found(cleared(flight(LAST))) == []
    refuse(monkeypatch, FIRST_SOLO)
    [told] = found(cleared(flight(LAST)))
    assert told.says.endswith(f"not covered by these rules: {WHY}")
    assert (told.kind, told.severity) == ("solo-first", "incomplete")
    assert told.citations


# The command line


def test_asked_about_alone_the_command_ends_with_2(monkeypatch: Any) -> None:
    refuse(monkeypatch, FIRST_SOLO)
    code, out, err = ask(SOLO, "--toward", FIRST_SOLO, "--on", "2026-12-03")
    assert (code, out) == (2, "")
    assert err == f"{FIRST_SOLO}: not covered by these rules: {WHY}\n"


def test_asked_about_all_it_is_named_below_and_stops_none(monkeypatch: Any) -> None:
    refuse(monkeypatch, FIRST_SOLO)
    code, out, err = ask(SOLO, "--on", "2026-12-03")
    assert (code, err) == (1, "")
    assert f"– {FIRST_SOLO}: not covered by these rules: {WHY}" in " ".join(out.split())
    assert NIGHT in out
    assert out.index("faa.private-practical-test") < out.index("not covered by these rules")
    code, out, err = ask(SOLO, "--on", "2026-12-03", "--json")
    told = json.loads(out)
    assert code == 1
    assert told["not_covered"] == [
        {
            "milestone": FIRST_SOLO,
            "key": "class",
            "value": "helicopter",
            "why": WHY,
            "code": "scope.category",
        }
    ]
    assert FIRST_SOLO not in [each["milestone"] for each in told["reports"]]


def test_the_exit_code_is_that_of_the_others(monkeypatch: Any) -> None:
    """Where nothing else is left that is not met, it is 0; what is refused counts for neither side."""
    asked = (SOLO, "--on", "2026-12-03", "--context", "aircraft_model=C172", "--json")
    _, out, _ = ask(*asked)
    unmet = [each["milestone"] for each in json.loads(out)["reports"] if not each["eligible"]]
    assert 0 < len(unmet) < len(rulebook.current().milestones)
    refuse(monkeypatch, *unmet)
    code, out, _ = ask(*asked)
    assert [each["milestone"] for each in json.loads(out)["not_covered"]] == unmet
    assert code == 0


@pytest.mark.parametrize("form", [[], ["--json"]], ids=["table", "json"])
def test_where_no_milestone_is_covered_the_command_ends_with_2(form: list[str]) -> None:
    code, out, _ = ask(SOLO, "--on", "2026-12-03", "--context", "category=rotorcraft", *form)
    assert code == 2
    assert "eligible_from" not in out
    assert out.count("rotorcraft has rules of its own") == len(rulebook.current().milestones) or not form
