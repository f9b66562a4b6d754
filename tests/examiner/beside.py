"""What real records hold beside what a milestone asks for: it neither changes a yes nor raises a question."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any

from tests.examiner.asking import Question
from tests.examiner.writing import AIRPLANE, BO, CY, IDA

Entries = list[tuple[str, dict[str, Any]]]
Day = Callable[[int], str]


def _later_private(day: Day) -> Entries:
    return [("certificates", {"id": "later-private", "kind": "private", "issued": day(-20), **AIRPLANE})]


def _later_failure(day: Day) -> Entries:
    return [
        ("tests", {"id": "later", "kind": "practical:private-airplane", "date": day(-9), "result": "fail"})
    ]


def _student_certificate(day: Day) -> Entries:
    return [("certificates", {"id": "student", "kind": "student", "issued": day(241)})]


def _other_endorsement(day: Day) -> Entries:
    return [("endorsements", {"id": "tailwheel", "kind": "tailwheel", "given": day(50), "instructor": CY})]


def _glider_lesson(day: Day) -> Entries:
    sailplane = {"registration": "N00GL", "model": "SGS 2-33", "category": "glider"}
    times = {"total": "0.5 h", "dual": "0.5 h"}
    flight = {"id": "glider-lesson", "date": day(245), "aircraft": sailplane, "times": times}
    return [("flights", {**flight, "route": ["KOSH", "KOSH"], "instructor": CY})]


def _blank_endorsement(day: Day) -> Entries:
    """A solo endorsement that names nothing, beside a whole one."""
    return [("endorsements", {"id": "blank", "kind": "solo-90-day", "given": day(70), "instructor": BO})]


def _thin_flight(day: Day) -> Entries:
    """An hour of which nothing but the time is known, beside enough that is known."""
    times = {"total": "1.0 h", "dual": "1.0 h"}
    return [("flights", {"id": "thin", "date": day(250), "times": times})]


def _another_model(day: Day) -> Entries:
    """A lesson, a test and endorsements for a second model, lawful in themselves."""
    craft = {"registration": "N00ZZ", "model": "PA28", **AIRPLANE}
    times = {"total": "1.2 h", "dual": "1.2 h"}
    given = {"given": day(78), "aircraft_model": "PA28", "instructor": CY}
    test = {"kind": "pre-solo-knowledge", "result": "pass", "aircraft_model": "PA28", "instructor": CY}
    return [
        ("flights", {"id": "piper", "date": day(79), "aircraft": craft, "times": times, "instructor": CY}),
        ("tests", {"id": "piper-test", "date": day(79), **test}),
        ("endorsements", {"id": "piper-training", "kind": "pre-solo-training", **given}),
        ("endorsements", {"id": "piper-solo", "kind": "solo-90-day", **given}),
    ]


def _expired_endorsement(day: Day) -> Entries:
    """A solo endorsement of an earlier attempt at training, with its lesson."""
    craft = {"registration": "N00XY", "model": "C172", **AIRPLANE}
    times = {"total": "1.0 h", "dual": "1.0 h"}
    given = {"given": day(255), "aircraft_model": "C172", "instructor": CY}
    return [
        ("flights", {"id": "early", "date": day(256), "aircraft": craft, "times": times, "instructor": CY}),
        ("endorsements", {"id": "expired", "kind": "solo-90-day", **given}),
    ]


def _surplus_contradiction(day: Day) -> Entries:
    """A lesson logged far longer than its clock, not needed for anything."""
    craft = {"registration": "N00XY", "model": "C172", **AIRPLANE}
    entry = {"id": "surplus", "date": day(260), "aircraft": craft, "instructor": CY}
    times = {"total": "1.5 h", "dual": "1.5 h"}
    clock = {"off": f"{day(260)}T16:00:00Z", "on": f"{day(260)}T16:20:00Z"}
    return [("flights", {**entry, "times": times, **clock})]


def _surplus_overlap(day: Day) -> Entries:
    """Two entries of one hour, neither needed for anything."""
    craft = {"registration": "N00XY", "model": "C172", **AIRPLANE}
    entry = {"date": day(262), "aircraft": craft, "instructor": CY, "times": {"total": "1 h", "dual": "1 h"}}
    clock = {"off": f"{day(262)}T16:00:00Z", "on": f"{day(262)}T17:00:00Z"}
    return [("flights", {"id": name, **entry, **clock}) for name in ("twice-1", "twice-2")]


def _failed_glider_test(day: Day) -> Entries:
    test = {"id": "glider-test", "kind": "knowledge:private-glider", "date": day(20), "result": "fail"}
    return [("tests", {**test, "score": 61, "deficient_codes": ["PG.I.C.K2"]})]


def _earlier_presolo_failure(day: Day) -> Entries:
    test = {"id": "presolo-first-try", "kind": "pre-solo-knowledge", "date": day(230), "result": "fail"}
    return [("tests", {**test, "aircraft_model": "C172", "instructor": IDA})]


def _not_observed(day: Day) -> Entries:
    """A later lesson on which an item did not come up."""
    entry = {"id": "not-seen", "item": "presolo.d-05", "date": day(1), "grade": "not-observed"}
    return [("items", {**entry, "instructor": IDA})]


def _earlier_practice(day: Day) -> Entries:
    entry = {"id": "first-try", "item": "presolo.d-03", "date": day(215), "grade": "practice"}
    return [("items", {**entry, "instructor": IDA})]


def _old_medical(day: Day) -> Entries:
    return [("documents", {"id": "older", "kind": "medical", "class": "third", "issued": day(3000)})]


BESIDE: tuple[Callable[[Day], Entries], ...] = (
    _later_private,
    _later_failure,
    _student_certificate,
    _other_endorsement,
    _glider_lesson,
    _blank_endorsement,
    _thin_flight,
    _another_model,
    _expired_endorsement,
    _surplus_contradiction,
    _surplus_overlap,
    _failed_glider_test,
    _earlier_presolo_failure,
    _not_observed,
    _earlier_practice,
    _old_medical,
)


def add_beside(r: Random, question: Question) -> None:
    """Up to three entries more, and now and then another order of the entries."""

    def day(before: int) -> str:
        return (question.on - timedelta(days=before)).isoformat()

    for make in r.sample(BESIDE, r.choice((0, 0, 1, 2, 3))):
        for part, entry in make(day):
            question.document[part].append(entry)
    if r.random() < 0.3:
        # the entries of a trip without a clock are in the order flown
        part = "items" if any(each.get("trip") for each in question.document["flights"]) else "flights"
        r.shuffle(question.document[part])
    if r.random() < 0.2:  # the same instants, in universal time
        for flight in question.document["flights"]:
            for key in {"out", "off", "on", "in"} & set(flight):
                flight[key] = datetime.fromisoformat(flight[key]).astimezone(UTC).isoformat()
