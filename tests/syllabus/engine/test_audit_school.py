"""What an audit finds across records: who may sign, how many hours were given, who was where."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from syllabus.engine.audit import school
from syllabus.engine.audit.instructing import Rating, Training, too_full
from syllabus.engine.audit.school import Citations, Flown, Held, Instructors
from syllabus.engine.record import record as engine
from syllabus.engine.time.units import HOUR
from tests.syllabus.engine.test_audit import AWAY, TRAINED, endorsed, flight

CITED = Citations(
    ("a", "read"), ("b", "read"), ("c", "read"), ("d", "memory"), ("e", "read"), with_class={"airplane"}
)


class Looked(dict):  # type: ignore[type-arg]
    def __init__(self, held: Held):
        self.instructors = Instructors((held,))

    def __missing__(self, said: engine.Instructor) -> Held | None:
        return self.instructors.of(said)


@pytest.mark.parametrize(
    ("held", "told"),
    [
        pytest.param({}, [], id="nothing is recorded against it"),
        pytest.param({"recent_until": TRAINED}, [], id="the last day of recent experience"),
        pytest.param(
            {"thought_lapsed": ((TRAINED, TRAINED),)},
            ["endorsement-authority", "training-lapsed"],
            id="lapsed by what was on record then",
        ),
        pytest.param(
            {"thought_lapsed": ((AWAY, AWAY),)}, [], id="renewed on record before, lapsed on record after"
        ),
        pytest.param(
            {"recent_until": TRAINED - dt.timedelta(days=1)},
            ["endorsement-authority", "training-lapsed"],
            id="the day after it",
        ),
        pytest.param({"ratings": (Rating("airplane", "single-engine land"),)}, [], id="rated"),
        pytest.param(
            {"ratings": (Rating("glider"),)}, ["endorsement-authority", "training-ratings"], id="not rated"
        ),
        pytest.param({"user": 7}, ["endorsement-authority", "training-oneself"], id="the student's own"),
        pytest.param({"certificate": "0000009CFI"}, ["instructor-unknown"], id="somebody else"),
    ],
)
def test_who_may_train_and_endorse(held: dict[str, Any], told: list[str]) -> None:
    of = Looked(Held(**{"user": 1, "name": "Ida Example", "certificate": "0000001CFI", **held}))
    record = engine.Record(
        flights=(flight(TRAINED, "dual"),), endorsements=(endorsed("solo-90-day", aircraft_model="C172"),)
    )
    all_of_it = [
        *school.endorsed(record, of, 7, {}, lambda day: CITED),
        *school.gave(record, of, 7, lambda day: CITED),
        *school.strangers(record, of, CITED.authorized),
    ]
    assert [each.kind for each in all_of_it] == told


def lesson(name: str, hour: float, hours: float, day: int = 0) -> Training:
    first = int((day * 24 + hour) * HOUR)
    return Training(name, first, first + int(hours * HOUR), int(hours * HOUR), int(hours * HOUR))


@pytest.mark.parametrize(
    ("rated", "purpose", "time", "told"),
    [
        pytest.param(False, "instrument", "simulated", True, id="for an instrument rating, without it"),
        pytest.param(False, "instrument", "actual", True, id="in cloud"),
        pytest.param(True, "instrument", "simulated", False, id="with it"),
        pytest.param(None, "instrument", "simulated", False, id="it was not recorded"),
        # 14 CFR 61.195(l): the three hours of 61.109(a)(3) ask for no instrument rating.
        pytest.param(False, "private", "simulated", False, id="basic instrument training"),
        pytest.param(False, "instrument", "", False, id="no instrument time"),
    ],
)
def test_training_for_an_instrument_rating(rated: bool | None, purpose: str, time: str, told: bool) -> None:
    ratings = (Rating("airplane", "single-engine land", rated), Rating("glider", None, True))
    of = Looked(Held(1, "Ida Example", "0000001CFI", ratings=ratings))
    flown = flight(
        TRAINED,
        "dual",
        times={f"{time}_instrument": HOUR} if time else {},
        purposes=(f"practical-test-preparation:{purpose}",),
    )
    found = list(school.gave(engine.Record(flights=(flown,)), of, 7, lambda day: CITED))
    assert [(each.kind, each.citations) for each in found] == (
        [("training-instrument", ("e",))] if told else []
    )


@pytest.mark.parametrize(
    ("given", "told"),
    [
        pytest.param([lesson("a", 8, 4), lesson("b", 13, 4)], [], id="exactly eight hours"),
        pytest.param([lesson("a", 8, 4), lesson("b", 13, 4.1)], [{"a", "b"}], id="six minutes more"),
        pytest.param([lesson("a", 16, 5), lesson("b", 8, 4, 1)], [{"a", "b"}], id="over midnight"),
        pytest.param([lesson("a", 6, 5), lesson("b", 11, 5, 1)], [], id="24 hours apart"),
        pytest.param(
            [lesson("a", 8, 5), lesson("b", 14, 5), lesson("c", 8, 5, 5), lesson("d", 14, 5, 5)],
            [{"a", "b"}, {"c", "d"}],
            id="two days of it are two findings",
        ),
        pytest.param([lesson(str(n), 8, 2, n) for n in range(60)], [], id="two hours on every day"),
    ],
)
def test_every_stretch_of_too_many_hours(given: list[Training], told: list[set[str]]) -> None:
    found = too_full(given, 8 * HOUR, 24 * HOUR)
    assert [set(each.sure.entries) for each in found] == told


def up(entry: str, off: int, on: int, student: int, aircraft: str | None, instructor: str | None) -> Flown:
    return Flown(student, entry, AWAY, off, on, aircraft, instructor)


@pytest.mark.parametrize(
    ("other", "shared"),
    [
        pytest.param(up("b", 10, 20, 2, "n1", "x"), [], id="it begins when the other ends"),
        pytest.param(up("b", 9, 20, 2, "n1", "x"), [("aircraft",)], id="one aircraft"),
        pytest.param(up("b", 9, 20, 2, "n2", "i"), [("instructor",)], id="one instructor"),
        pytest.param(up("b", 9, 20, 1, "n2", None), [("student",)], id="one student"),
        pytest.param(
            up("b", 2, 3, 1, "n1", "i"), [("student", "aircraft", "instructor")], id="all of them, inside it"
        ),
        pytest.param(up("b", 9, 20, 2, None, None), [], id="nothing is known of it"),
        pytest.param(up("b", 5, 5, 2, "n1", "i"), [], id="no time in the air"),
    ],
)
def test_two_places_at_once(other: Flown, shared: list[tuple[str, ...]]) -> None:
    one = up("a", 0, 10, 1, "n1", "i")
    assert [each for _, _, each in school.in_two_places([other, one])] == shared
