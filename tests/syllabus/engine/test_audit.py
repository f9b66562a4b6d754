"""An audit of one record: each rule on the day it turns, by what is known now and by what was known then."""

from __future__ import annotations

import dataclasses
import datetime as dt
from types import MappingProxyType
from typing import Any

import pytest

from syllabus.engine.audit import entries, one_record, solo
from syllabus.engine.audit import tests as audit_tests
from syllabus.engine.audit.audit import TEST, Audited, Found, TakenOff
from syllabus.engine.places.geography import airports
from syllabus.engine.record import record as engine
from syllabus.engine.record.vocabulary import RULE_ITEMS
from syllabus.engine.rules import evaluate
from syllabus.engine.time.units import HOUR, MINUTE
from syllabus.law import auditing, endorsements, rulebook
from tests.support.rows import over_rows

D = dt.date
ON = D(2026, 11, 20)
IDA = engine.Instructor("Ida Example", "0000001CFI")
TRAINED = D(2026, 3, 2)
#: 14 CFR 61.87(n): the 90th day after the training, by our reading the last one.
LAST = TRAINED + dt.timedelta(days=90)
CRAFT = engine.Aircraft("N00XY", "C172", "airplane", "single-engine land")


def after(day: dt.date) -> dt.datetime:
    return dt.datetime.combine(day + dt.timedelta(days=1), dt.time(), dt.UTC)


def evening(day: dt.date) -> dt.datetime:
    return dt.datetime.combine(day, dt.time(20), dt.UTC)


def route(*names: str) -> tuple[Any, ...]:
    return tuple(airports().find(name) for name in names)


def flight(day: dt.date, kind: str = "solo", **more: Any) -> engine.Flight:
    times = {"total": HOUR, kind: HOUR, **more.pop("times", {})}
    return engine.Flight(
        **{
            "id": f"{kind}-{day}",
            "date": day,
            "aircraft": CRAFT,
            "route": route("KGRB", "KGRB"),
            "times": MappingProxyType(times),
            "instructor": IDA if kind == "dual" else None,
            "remarks": "pattern work",
            "recorded": evening(day),
            **more,
        }
    )


def endorsed(kind: str, day: dt.date = TRAINED, **more: Any) -> engine.Endorsement:
    return engine.Endorsement(
        **{"id": kind, "kind": kind, "given": day, "instructor": IDA, "recorded": evening(day), **more}
    )


def cleared(
    *flights: engine.Flight, more: tuple[engine.Endorsement, ...] = (), **parts: Any
) -> engine.Record:
    """A record by which solo in the C172 holds from the day of the training through the 90th after it."""
    long_ago = D(2026, 1, 5)
    papers = [("english-proficiency", None), ("student-pilot-certificate", None), ("medical", "third")]
    whole: dict[str, Any] = {
        "student": engine.Student("Sam Example", D(2006, 5, 17)),
        "documents": tuple(
            engine.Document(kind, kind, long_ago, klass, recorded=evening(long_ago)) for kind, klass in papers
        ),
        "items": tuple(
            engine.ItemGrade(name, name, TRAINED, "perform", None, IDA, "", evening(TRAINED))
            for name in RULE_ITEMS
            if not name.startswith("area.")
        ),
        "tests": (
            engine.Test("t", "pre-solo-knowledge", TRAINED, "pass", None, "C172", recorded=evening(TRAINED)),
        ),
        "endorsements": (
            endorsed("pre-solo-training", aircraft_model="C172"),
            endorsed("solo-90-day", aircraft_model="C172", training_date=TRAINED),
            *more,
        ),
        "flights": (flight(TRAINED, "dual"), *flights),
    }
    return engine.Record(**{**whole, **parts})


def audited(record: engine.Record, *taken_off: TakenOff, on: dt.date = ON) -> Audited:
    return Audited(record, on, after, taken_off)


def found(record: engine.Record, *taken_off: TakenOff, on: dt.date = ON) -> list[Found]:
    return list(
        one_record.findings(
            audited(record, *taken_off, on=on),
            rulebook.current(),
            auditing.current()["faa"],
            endorsements.current().kinds,
        )
    )


def kinds(record: engine.Record, **more: Any) -> list[str]:
    return [each.kind for each in found(record, **more)]


@pytest.mark.parametrize(
    ("day", "told"),
    [
        pytest.param(TRAINED, [], id="the day of the endorsement"),
        pytest.param(LAST, [], id="the 90th day"),
        pytest.param(LAST + dt.timedelta(days=1), ["solo-first"], id="the 91st day"),
        pytest.param(TRAINED - dt.timedelta(days=1), ["solo-first"], id="the day before it was given"),
    ],
)
def test_a_solo_flight_on_the_day_the_rule_turns(day: dt.date, told: list[str]) -> None:
    assert kinds(cleared(flight(day))) == told


def test_the_finding_cites_the_rule_and_answers_for_both_times() -> None:
    [told] = found(cleared(flight(LAST + dt.timedelta(days=1))))
    assert [each.requirement for each in told.unmet] == ["faa.first-solo.solo-endorsement"]
    assert (told.severity, told.mend, told.now, told.then) == ("serious", "nothing", False, False)
    assert told.citations == ("14 CFR 61.87(n)",)


@pytest.mark.parametrize(
    ("certificate", "told"),
    [
        pytest.param(("private", LAST + dt.timedelta(days=1)), [], id="a private pilot since that day"),
        pytest.param(
            ("private", LAST + dt.timedelta(days=2)), ["solo-first"], id="only from the next day on"
        ),
        pytest.param(("student", TRAINED), ["solo-first"], id="a student pilot's certificate"),
    ],
)
def test_the_rules_for_student_pilots_end_with_a_higher_certificate(
    certificate: tuple[str, dt.date], told: list[str]
) -> None:
    held = (engine.Certificate("c", certificate[0], certificate[1]),)
    assert kinds(cleared(flight(LAST + dt.timedelta(days=1)), certificates=held)) == told


@pytest.mark.parametrize(
    ("recorded", "now", "then"),
    [
        pytest.param(
            evening(TRAINED + dt.timedelta(days=2)), None, None, id="on record by the flight's evening"
        ),
        pytest.param(after(TRAINED + dt.timedelta(days=2)), None, None, id="at the very end of its day"),
        pytest.param(
            after(TRAINED + dt.timedelta(days=2)) + dt.timedelta(seconds=1), True, False, id="a second later"
        ),
    ],
)
def test_an_endorsement_that_came_on_record_after_the_flight(
    recorded: dt.datetime, now: bool | None, then: bool | None
) -> None:
    record = cleared(flight(TRAINED + dt.timedelta(days=2)))
    late = tuple(dataclasses.replace(each, recorded=recorded) for each in record.endorsements)
    told = found(dataclasses.replace(record, endorsements=late))
    assert [(each.now, each.then) for each in told] == ([] if now is None else [(now, then)])
    assert all((each.severity, each.mend) == ("incomplete", "note") for each in told)


def test_what_came_from_elsewhere_all_at_once_was_not_known_late() -> None:
    """A record brought from another school: flight and endorsement came on record at one instant."""
    record = cleared(flight(TRAINED + dt.timedelta(days=2)))
    came = evening(D(2026, 10, 1))
    parts = {
        part: tuple(dataclasses.replace(each, recorded=came) for each in getattr(record, part))
        for part in ("flights", "items", "documents", "tests", "endorsements")
    }
    assert kinds(dataclasses.replace(record, **parts)) == []


def test_what_was_taken_off_the_record_was_known_then() -> None:
    record = cleared(flight(TRAINED + dt.timedelta(days=2)))
    kept, gone = record.endorsements[0], record.endorsements[1]
    off = TakenOff("endorsements", gone, evening(TRAINED), evening(D(2026, 6, 1)))
    [told] = found(dataclasses.replace(record, endorsements=(kept,)), off)
    assert (told.now, told.then, told.severity, told.mend) == (False, True, "incomplete", "note")
    before = TakenOff("endorsements", gone, evening(TRAINED), evening(TRAINED + dt.timedelta(days=1)))
    [told] = found(dataclasses.replace(record, endorsements=(kept,)), before)
    assert (told.now, told.then) == (False, False)


def test_work_is_bounded_by_contexts_and_not_by_flights(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []

    def counted(*given: Any, **more: Any) -> Any:
        asked.append(given[2])
        return evaluate.evaluate(*given, **more)

    monkeypatch.setattr(solo, "evaluate", counted)
    days = [TRAINED + dt.timedelta(days=n) for n in range(1, 80)]
    assert kinds(cleared(*(flight(day) for day in days))) == []
    assert asked == ["faa.first-solo/all"]


# Away from home

AWAY = TRAINED + dt.timedelta(days=5)


@pytest.mark.parametrize(
    ("points", "more", "told"),
    [
        pytest.param(("KGRB", "KGRB"), (), [], id="it stayed"),
        pytest.param(("KGRB", "KMTW", "KGRB"), (), ["solo-cross-country"], id="away without an endorsement"),
        pytest.param(
            ("KGRB", "KATW", "KGRB"),
            (endorsed("solo-other-airport", airport=airports().find("KATW")),),
            [],
            id="to an airport within 25 NM with its endorsement",
        ),
        pytest.param(
            ("KGRB", "KATW", "KGRB"),
            (
                endorsed(
                    "solo-other-airport", airport=airports().find("KATW"), expires=AWAY - dt.timedelta(days=1)
                ),
            ),
            ["solo-cross-country"],
            id="the endorsement had ended the day before",
        ),
        pytest.param(
            ("KGRB", "KMTW", "KGRB"),
            (endorsed("solo-other-airport", airport=airports().find("KMTW")),),
            ["solo-cross-country"],
            id="more than 25 NM is more than nearby",
        ),
        pytest.param(
            ("KGRB", "KMTW", "KGRB"),
            (
                endorsed("solo-cross-country-category-model", aircraft_model="C172", category="airplane"),
                endorsed(
                    "solo-cross-country-flight",
                    AWAY,
                    aircraft_model="C172",
                    flight_date=AWAY,
                    route=route("KGRB", "KMTW", "KGRB"),
                ),
            ),
            [],
            id="with the endorsements for a cross-country",
        ),
        pytest.param(
            ("KGRB", "KMTW", "KGRB"),
            (
                endorsed("solo-cross-country-category-model", aircraft_model="C172", category="airplane"),
                endorsed(
                    "solo-cross-country-flight", AWAY, flight_date=AWAY, route=route("KGRB", "KOSH", "KGRB")
                ),
            ),
            ["solo-cross-country"],
            id="endorsed for another route",
        ),
    ],
)
def test_a_flight_that_lands_elsewhere(points: tuple[str, ...], more: Any, told: list[str]) -> None:
    taught = flight(TRAINED, "dual", id="there and back", route=route(*points))
    record = cleared(taught, flight(AWAY, route=route(*points)), more=more)
    assert [
        each.kind for each in solo.findings(audited(record), rulebook.current(), auditing.current()["faa"])
    ] == told


def test_a_trip_of_several_entries_is_told_once() -> None:
    legs = [
        flight(AWAY, id="out", trip="t", route=route("KGRB", "KMTW")),
        flight(AWAY, id="back", trip="t", route=route("KMTW", "KGRB")),
    ]
    [told] = found(cleared(*legs))
    assert (told.kind, set(told.entries)) == ("solo-cross-country", {"out", "back"})


@pytest.mark.parametrize(
    ("more", "told"),
    [
        pytest.param({"times": {"night": MINUTE}}, ["solo-night"], id="logged night"),
        pytest.param({"times": {"night": 0}}, [], id="logged as none"),
        pytest.param(
            {"landings": (engine.Landings(airports().find("KGRB"), 1, 1, "night"),)},
            ["solo-night"],
            id="a landing at night",
        ),
        pytest.param({"purposes": ("class-b:chicago",)}, ["solo-class-b"], id="Class B by its own words"),
        pytest.param(
            {"route": route("KGRB", "KORD", "KGRB")},
            ["solo-cross-country", "solo-class-b"],
            id="an airport inside",
        ),
    ],
)
def test_at_night_and_in_class_b(more: dict[str, Any], told: list[str]) -> None:
    assert kinds(cleared(flight(AWAY, **more))) == told


#: 2 March 2026 at Green Bay: evening civil twilight ends about 18:11, in UTC 14 minutes past midnight.
DARK = dt.datetime(2026, 3, 8, 0, 30, tzinfo=dt.UTC)


@pytest.mark.parametrize(
    ("minutes", "told"),
    [
        pytest.param(30, ["solo-night"], id="half an hour of night by the times, none logged"),
        pytest.param(7, ["solo-night"], id="seven minutes"),
        pytest.param(6, [], id="six minutes are within what logbooks round"),
    ],
)
def test_night_that_was_logged_as_none_is_asked_about(minutes: int, told: list[str]) -> None:
    on = DARK + dt.timedelta(minutes=minutes)
    flown = flight(AWAY, times={"night": 0}, off=DARK, on=on)
    assert kinds(cleared(flown)) == told


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        pytest.param({}, ["solo-first"], id="logged as pilot in command, with nobody else"),
        pytest.param({"instructor": IDA}, [], id="with an instructor on board"),
        pytest.param(
            {"times": MappingProxyType({"total": HOUR, "pic": HOUR, "dual": HOUR}), "instructor": IDA},
            [],
            id="dual that was logged as pilot in command as well",
        ),
    ],
)
def test_a_student_who_was_pilot_in_command_was_alone(changed: dict[str, Any], told: list[str]) -> None:
    late = flight(LAST + dt.timedelta(days=1), "pic")
    found_now = found(cleared(dataclasses.replace(late, **changed)))
    assert [each.kind for each in found_now] == told
    assert all("14 CFR 61.51(e)(4)" in each.says for each in found_now)
    assert kinds(cleared(flight(LAST, "pic"))) == []


def test_the_endorsement_for_the_night_and_the_area_is_enough() -> None:
    more = (
        endorsed("solo-night", aircraft_model="C172", airport=airports().find("KGRB"), training_date=TRAINED),
        endorsed("solo-class-b", area="Chicago"),
    )
    flown = flight(AWAY, times={"night": MINUTE}, purposes=("class-b:chicago",))
    by_night = flight(TRAINED, "dual", id="by night", times={"night": HOUR})
    assert kinds(cleared(by_night, flown, more=more)) == []


# Endorsements


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        pytest.param({}, [], id="trained on that day, in that model, by the signer"),
        pytest.param(
            {"training_date": TRAINED - dt.timedelta(days=1)}, ["endorsement-untrained"], id="another day"
        ),
        pytest.param({"aircraft_model": "PA28"}, ["endorsement-untrained"], id="another model"),
        pytest.param(
            {"instructor": engine.Instructor("Bo", "2")}, ["endorsement-untrained"], id="another instructor"
        ),
        pytest.param(
            {"instructor": engine.Instructor("Ida E.", "0000001 cfi")},
            [],
            id="the same number, otherwise written",
        ),
    ],
)
def test_training_by_whoever_endorses(changed: dict[str, Any], told: list[str]) -> None:
    given = endorsed("solo-90-day", aircraft_model="C172", training_date=TRAINED)
    record = cleared(endorsements=(dataclasses.replace(given, **changed),))
    assert kinds(record) == told


@pytest.mark.parametrize(
    ("kind", "item", "told"),
    [
        pytest.param("pre-solo-training", "presolo.d-07", True, id="an item of the training before solo"),
        pytest.param("pre-solo-training", "soloxc.e-03", False, id="one that it does not rest on"),
        pytest.param("solo-cross-country-category", "soloxc.e-03", True, id="one of the cross-country"),
        pytest.param("solo-90-day", "presolo.d-07", False, id="told with the endorsement of the training"),
    ],
)
@over_rows(
    ("changed", "known"),
    [
        pytest.param({"grade": "practice"}, (False, False), id="below standard"),
        pytest.param(
            {"date": TRAINED + dt.timedelta(days=1)}, (False, False), id="at standard the day after"
        ),
        pytest.param({"recorded": after(TRAINED)}, (True, True), id="at the very end of the day"),
        pytest.param(
            {"recorded": after(TRAINED) + dt.timedelta(seconds=1)}, (True, False), id="on record too late"
        ),
    ],
)
def test_training_that_was_not_at_standard_when_it_was_endorsed(
    kind: str, item: str, told: bool, changed: dict[str, Any], known: tuple[bool, bool]
) -> None:
    given = endorsed(kind, aircraft_model="C172", training_date=None)
    record = cleared(endorsements=(given,))
    items = tuple(
        dataclasses.replace(each, **changed) if each.item == item else each for each in record.items
    )
    found_now = found(dataclasses.replace(record, items=items))
    if not told or known == (True, True):
        assert found_now == []
        return
    [one] = found_now
    assert (one.kind, one.severity, one.about) == ("endorsement-untrained", "incomplete", (kind,))
    assert (one.now, one.then, one.mend) == (*known, "note" if known[0] else "correction")
    assert one.citations[-1] in ("14 CFR 61.87(d)", "14 CFR 61.93(e)")


@pytest.mark.parametrize(
    ("days", "told"),
    [
        pytest.param(0, [], id="on the day"),
        pytest.param(1, [], id="the evening before"),
        pytest.param(2, ["endorsement-early"], id="two days ahead"),
    ],
)
def test_a_flight_endorsed_before_its_conditions_were_known(days: int, told: list[str]) -> None:
    # 14 CFR 61.195(d)(2): under the existing conditions; that one day is well enough is common practice.
    away = {"flight_date": AWAY, "route": route("KGRB", "KMTW", "KGRB")}
    given = endorsed("solo-cross-country-flight", AWAY - dt.timedelta(days=days), **away)
    assert kinds(cleared(more=(given,))) == told


@pytest.mark.parametrize(
    ("on", "tests", "told"),
    [
        pytest.param(D(2026, 5, 31), (), [], id="the last day of the second month after it"),
        pytest.param(D(2026, 6, 1), (), ["result-missing"], id="the day after that"),
        pytest.param(D(2026, 6, 1), ((D(2026, 3, 2), "fail"),), [], id="a failed test is a result"),
        pytest.param(
            D(2026, 6, 1), ((D(2026, 3, 1), "pass"),), ["result-missing"], id="a test before it is none"
        ),
    ],
)
def test_a_result_that_nobody_noted(on: dt.date, tests: Any, told: list[str]) -> None:
    taken = tuple(engine.Test(f"t{n}", "knowledge:private-airplane", *each) for n, each in enumerate(tests))
    record = engine.Record(
        engine.Student("Sam", D(2006, 5, 17)), tests=taken, endorsements=(endorsed("knowledge-test"),)
    )
    assert kinds(record, on=on) == told


@pytest.mark.parametrize(
    ("more", "told"),
    [
        pytest.param((), ["retest-unendorsed"], id="nothing between"),
        pytest.param(
            (endorsed("retest", D(2026, 3, 9), test="knowledge:private-airplane"),), [], id="both between"
        ),
        pytest.param(
            (endorsed("retest", D(2026, 3, 9), test="practical:private-airplane"),),
            ["retest-unendorsed"],
            id="for another test",
        ),
    ],
)
def test_a_pass_after_a_failure_without_the_endorsement(more: Any, told: list[str]) -> None:
    # 14 CFR 61.49(a)
    taken = tuple(
        engine.Test(f"t{n}", "knowledge:private-airplane", day, result)
        for n, (day, result) in enumerate([(D(2026, 3, 5), "fail"), (D(2026, 3, 10), "pass")])
    )
    record = engine.Record(
        engine.Student("Sam", D(2006, 5, 17)),
        tests=taken,
        flights=(flight(D(2026, 3, 8), "dual"),),
        endorsements=more,
    )
    assert [each.kind for each in audit_tests.findings(audited(record), rulebook.current())] == told


def test_a_recommendation_with_a_gap_names_it() -> None:
    record = engine.Record(engine.Student("Sam", D(2015, 5, 17)), endorsements=(endorsed("knowledge-test"),))
    [told] = found(record, on=TRAINED)
    assert (told.kind, told.severity) == ("recommendation-gap", "serious")
    assert [each.requirement for each in told.unmet] == ["faa.private-knowledge-test.age"]


@pytest.mark.parametrize(
    ("named", "told"),
    [
        pytest.param({}, ["recommendation-gap"], id="none named is the private airplane test"),
        pytest.param({"test": "knowledge:private-airplane"}, ["recommendation-gap"], id="it by name"),
        pytest.param({"test": "knowledge:private-glider"}, [], id="another test asks for other things"),
        pytest.param({"category": "glider"}, [], id="another category as well"),
    ],
)
def test_a_recommendation_is_held_against_the_test_it_names(named: dict[str, Any], told: list[str]) -> None:
    given = endorsed("knowledge-test", **named)
    record = engine.Record(engine.Student("Sam", D(2015, 5, 17)), endorsements=(given,))
    assert kinds(record, on=TRAINED) == told


@pytest.mark.parametrize(
    ("taken", "told"),
    [
        pytest.param("knowledge:private-glider", [], id="the test it names"),
        pytest.param("knowledge:private-airplane", ["result-missing"], id="another one"),
    ],
)
def test_a_result_is_that_of_the_test_that_was_endorsed(taken: str, told: list[str]) -> None:
    # 14 CFR 61.189(b)(2): the kind of test, its date and its result.
    record = engine.Record(
        engine.Student("Sam", D(2006, 5, 17)),
        tests=(engine.Test("t", taken, D(2026, 3, 10), "pass"),),
        endorsements=(endorsed("knowledge-test", test="knowledge:private-glider"),),
    )
    assert kinds(record, on=D(2026, 6, 1)) == told


# Entries


@pytest.mark.parametrize(
    ("changed", "missing"),
    [
        pytest.param({"times": MappingProxyType({"solo": HOUR})}, "the total time", id="no total"),
        pytest.param({"route": ()}, "the place of departure", id="no place"),
        pytest.param({"aircraft": engine.Aircraft(None, "C172")}, "the identification", id="no registration"),
        pytest.param({"aircraft": engine.Aircraft("N00XY")}, "the type", id="no model"),
        pytest.param({"times": MappingProxyType({"total": HOUR})}, "whether it was solo", id="no kind"),
        pytest.param(
            {"times": MappingProxyType({"total": HOUR, "dual": HOUR})},
            "the instructor who",
            id="training by nobody",
        ),
    ],
)
def test_a_flight_that_leaves_something_out(changed: dict[str, Any], missing: str) -> None:
    record = engine.Record(flights=(dataclasses.replace(flight(AWAY), **changed),))
    [told] = entries.findings(audited(record), auditing.current()["faa"])
    assert missing in told.says


def test_training_that_nobody_described_is_told_once() -> None:
    silent = [flight(AWAY + dt.timedelta(days=n), "dual", remarks="") for n in range(3)]
    record = engine.Record(flights=tuple(silent))
    [told] = entries.findings(audited(record), auditing.current()["faa"])
    assert (len(told.entries), told.day) == (3, AWAY)
    graded = tuple(engine.ItemGrade(each.id, "x", each.date, "perform", each.id) for each in silent)
    described = engine.Record(flights=tuple(silent), items=graded)
    assert list(entries.findings(audited(described), auditing.current()["faa"])) == []


def test_an_endorsement_for_a_test_says_of_which_sort() -> None:
    sorts = {each.kind: each.tests for each in endorsements.current().kinds.values() if each.about == TEST}
    assert sorts == {"knowledge-test": ("knowledge",), "practical-test": ("practical",)}
