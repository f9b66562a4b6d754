"""Lawful, complete training records for each student milestone, written from the text of 14 CFR part 61.

A builder writes the whole record that a milestone asks for: the training first, then the endorsement that
rests on it. ``generated`` varies what schools vary, by a seed that depends on the record's number alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from datetime import date, timedelta
from random import Random
from typing import Any

from tests.examiner.asking import Question
from tests.examiner.beside import add_beside
from tests.examiner.writing import (
    AIR_FORCE,
    BO,
    CY,
    GIL,
    IDA,
    PREPARATION,
    Habits,
    Writer,
    landed,
    pattern,
    point_at,
)

KNOWLEDGE, PRACTICAL = "knowledge:private-airplane", "practical:private-airplane"
#: The airport endorsement of 61.95(b) is the Class B endorsement that names the airport.
CLASS_B_AIRPORT = "solo-class-b"
ASKED_ON = date(2026, 9, 18)


def first_solo_training(w: Writer, last: int = 5) -> None:
    """61.87(b), (c), (d), (n): training, test and endorsements; the last lesson so many days before."""
    other = BO if w.habits.two_instructors else IDA
    # day before, tenths, instructor, items of 61.87(d)
    lessons = [
        (last + 56, 12, other, (1, 2, 4)),
        (last + 49, 13, other, (5, 7, 8)),
        (last + 41, 14, other, (9, 10)),
        (last + 30, 13, IDA, (6, 12)),
        (last + 14, 15, IDA, (11, 13, 14)),
        (last, 11, IDA, (3, 15)),
    ]
    for number, (before, tenths, by, items) in enumerate(lessons, 1):
        name = f"dual-{number}"
        w.flight(name, before, tenths, "dual", by=by, landings=pattern(w.habits.home, 2 + number))
        w.items("presolo.d", items, before, name, by)
    w.add(
        "tests",
        "presolo-test",
        kind="pre-solo-knowledge",
        date=w.day(last + 10),
        result="pass",
        aircraft_model=w.spelling(),
        instructor=IDA,
    )
    w.model_endorsement("presolo-endorsement", "pre-solo-training", last - 1, IDA, last)
    w.model_endorsement("solo-endorsement", "solo-90-day", last - 1, IDA, last)


def first_solo(w: Writer, **_: Any) -> Mapping[str, Any]:
    w.papers()
    first_solo_training(w)
    return {"aircraft_model": w.habits.model}


def solo_night(w: Writer, whole: bool = True, **_: Any) -> Mapping[str, Any]:
    """61.87(o): night training at the airport and night navigation near it, by the endorsing instructor."""
    w.papers()
    first_solo_training(w, last=20)
    home = w.habits.home
    near = {"KOSH": "KFLD", "KFCM": "KLVN", "KAPA": "KBJC", "KSUS": "KCPS"}[home]
    w.flight(
        "night-dual-1",
        12,
        10,
        "dual",
        by=IDA,
        night=10 if whole else 7,
        at_night=True,
        landings=pattern(home, 4, "night", True),
    )
    w.flight(
        "night-dual-2",
        10,
        13,
        "dual",
        by=IDA,
        night=13,
        at_night=True,
        route=[home, near, home],
        landings=[landed(near, period="night"), *pattern(home, 3, "night", True)],
        remarks="Night navigation near the airport; approaches and go-arounds.",
    )
    w.model_endorsement("night-endorsement", "solo-night", 8, IDA, 10, airport=home)
    return {"aircraft_model": w.habits.model, "airport": home}


#: area: the airport where the student trains, and the area's primary airport, where student pilots may solo
AREAS = {
    "Minneapolis": ("KFCM", "KMSP"),
    "Denver": ("KAPA", "KDEN"),
    "St. Louis": ("KSUS", "KSTL"),
}


def solo_class_b(
    w: Writer,
    area: str = "Minneapolis",
    with_airport: bool = False,
    landing: bool = True,
    given: int = 9,
    **_: Any,
) -> Mapping[str, Any]:
    """61.95: ground and flight training in the area, or at the airport, by the endorsing instructor."""
    home, primary = AREAS[area]
    w.papers()
    first_solo_training(w, last=20)
    w.ground("class-b-ground", given + 4, f"the {area} Class B airspace area", IDA)
    w.flight(
        "class-b-dual",
        given + 2,
        14,
        "dual",
        by=IDA,
        remarks=f"{area} Class B airspace area",
        route=[home, primary, home] if landing or with_airport else [home, home],
        landings=[landed(primary, towered=True), *pattern(home, 1)]
        if landing or with_airport
        else pattern(home, 1),
    )
    w.model_endorsement("class-b-endorsement", "solo-class-b", given, IDA, given + 2, area=area)
    context = {"aircraft_model": w.habits.model, "area": area}
    if with_airport:
        w.model_endorsement(
            "class-b-airport-endorsement", CLASS_B_AIRPORT, given, IDA, given + 2, area=area, airport=primary
        )
        context["airport"] = primary
    return context


def _route_context(w: Writer, route: list[Any]) -> dict[str, Any]:
    return {"aircraft_model": w.habits.model, "route": route}


def _cross_country_items(w: Writer, by: Mapping[str, Any]) -> None:
    """61.93(e): three dual cross-country lessons on which the twelve items were shown."""
    home = w.habits.home
    away = {
        "KOSH": ("KMSN", "KGRB"),
        "KFCM": ("KRST", "KMKT"),
        "KAPA": ("KPUB", "KCOS"),
        "KSUS": ("KSPI", "KALN"),
    }
    first, second = away[home]
    by = dict(by)
    w.flight(
        "xc-dual-1",
        17,
        21,
        "dual",
        by=by,
        route=[home, first, home],
        cross_country=True,
        hood=4,
        landings=[landed(first), landed(home)],
    )
    w.flight(
        "xc-dual-2",
        15,
        18,
        "dual",
        by=by,
        route=[home, second, home],
        cross_country=True,
        hood=5,
        landings=[landed(second), landed(home)],
    )
    w.items("soloxc.e", range(1, 9), 17, "xc-dual-1", by)
    w.items("soloxc.e", range(9, 13), 15, "xc-dual-2", by)


def _category_and_model(w: Writer, by: Mapping[str, Any], combined: bool) -> None:
    """61.93(c)(1), (2): by the instructor who gave the training."""
    if combined:
        w.model_endorsement(
            "category-model-endorsement",
            "solo-cross-country-category-model",
            12,
            dict(by),
            15,
            category="airplane",
        )
        return
    w.endorse("category-endorsement", "solo-cross-country-category", 12, dict(by), 15, category="airplane")
    w.model_endorsement("model-endorsement", "solo-cross-country-model", 12, dict(by), 15)


def solo_cross_country(
    w: Writer, combined: bool = False, reviewed_by: Mapping[str, Any] = IDA, where: str = "far", **_: Any
) -> Mapping[str, Any]:
    """61.93(c): category, make and model, and this flight, reviewed on its day."""
    w.papers()
    first_solo_training(w, last=20)
    home = w.habits.home
    far, farther, near = {
        "KOSH": ("KMSN", "KMKE", "KFLD"),
        "KFCM": ("KRST", "KEAU", "KLVN"),
        "KAPA": ("KPUB", "KCOS", "KBJC"),
        "KSUS": ("KSPI", "KUIN", "KCPS"),
    }[home]
    route = {"far": [home, far, home], "near": [home, near, home], "two stops": [home, far, farther, home]}[
        where
    ]
    _cross_country_items(w, IDA)
    _category_and_model(w, IDA, combined)
    w.endorse(
        "flight-endorsement",
        "solo-cross-country-flight",
        0,
        dict(reviewed_by),
        route=route,
        flight_date=w.day(0),
        aircraft_model=w.spelling(),
    )
    return _route_context(w, route)


def solo_repeated(
    w: Writer,
    distance: float | None = None,
    azimuth: float = 90.0,
    two_flights: bool = False,
    combined: bool = False,
    **_: Any,
) -> Mapping[str, Any]:
    """61.93(b)(2): dual both ways with landings, the route's endorsement, and those of (c)(1), (2)."""
    w.papers()
    first_solo_training(w, last=20)
    home = w.habits.home
    away: Any = {"KOSH": "KMTW", "KFCM": "KOWA", "KAPA": "KCOS", "KSUS": "KALN"}[home]
    if distance is not None:
        away = point_at(home, distance, azimuth)
    route = [home, away, home]
    _cross_country_items(w, IDA)
    if two_flights:
        w.flight("route-dual-out", 14, 9, "dual", by=IDA, route=[home, away], landings=[landed(away, 3)])
        w.flight("route-dual-back", 13, 9, "dual", by=IDA, route=[away, home], landings=[landed(home, 3)])
    else:
        w.flight(
            "route-dual", 13, 17, "dual", by=IDA, route=route, landings=[landed(away, 3), landed(home, 2)]
        )
    _category_and_model(w, IDA, combined)
    w.model_endorsement("repeated-endorsement", "solo-cross-country-repeated", 11, IDA, 13, route=route)
    return _route_context(w, route)


def solo_nearby(
    w: Writer, distance: float | None = None, azimuth: float = 90.0, **_: Any
) -> Mapping[str, Any]:
    """61.93(b)(1): dual at that airport both ways with landings, and its endorsement; (e) is not asked."""
    w.papers()
    first_solo_training(w, last=20)
    home = w.habits.home
    away: Any = {"KOSH": "KFLD", "KFCM": "KLVN", "KAPA": "KBJC", "KSUS": "KCPS"}[home]
    if distance is not None:
        away = point_at(home, distance, azimuth)
    route = [home, away, home]
    w.flight("nearby-dual", 13, 14, "dual", by=IDA, route=route, landings=[*pattern(away, 4), landed(home)])
    w.model_endorsement("nearby-endorsement", "solo-other-airport", 11, IDA, 13, airport=away)
    return _route_context(w, route)


def knowledge_test(w: Writer, by: Mapping[str, Any] = IDA, failed: int = 0, **_: Any) -> Mapping[str, Any]:
    """61.35(a)(1), 61.103(d), 61.105; after a failure 61.49."""
    by = dict(by)
    w.papers()
    for number, topic in enumerate(("rules of part 61 and 91", "weather", "navigation and performance"), 1):
        w.ground(f"ground-{number}", 60 - 5 * number, topic, by)
    w.test_endorsement("knowledge-endorsement", "knowledge-test", 40, by, KNOWLEDGE)
    for time in range(1, failed + 1):
        before = 40 - 12 * time
        w.add(
            "tests",
            f"failed-knowledge-{time}",
            kind=KNOWLEDGE,
            date=w.day(before),
            result="fail",
            score=58 + time,
            deficient_codes=["PA.I.C.K2", "PA.I.E.K1"],
        )
        w.ground(f"retraining-{time}", before - 4, "the areas missed on the knowledge test", by)
        w.endorse(f"retest-{time}", "retest", before - 5, by, test=KNOWLEDGE)
    return {}


def practical_test(
    w: Writer,
    score: int = 88,
    failed_knowledge: bool = False,
    failed_practical: int = 0,
    trip: bool = False,
    device: bool = False,
    glider: str = "",
    air_force: bool = False,
    extra: str = "dual",
    application: int | None = None,
    partly_night: bool = False,
    **_: Any,
) -> Mapping[str, Any]:
    """61.103, 61.109(a), 61.39(a), 61.107(b)(1): every amount at or just over its number."""
    home = w.habits.home
    one, two = {
        "KOSH": ("KMSN", "KMKE"),
        "KFCM": ("KRST", "KEAU"),
        "KAPA": ("KPUB", "KGXY"),
        "KSUS": ("KSPI", "KCOU"),
    }[home]
    other = BO if w.habits.two_instructors else IDA
    if w.habits.born is None:
        w.student["birth_date"] = w.on.replace(year=w.on.year - 19, day=1).isoformat()
    w.papers(260)
    # dual before the first solo: 10.4 h, the last four with 0.4 h under the hood
    lessons = [(1, 2, 4), (5, 7), (8, 9), (10,), (6, 12), (11, 13), (14,), (3, 15)]
    for number, items in enumerate(lessons, 1):
        before = 197 - 7 * number
        by = other if number <= 4 else IDA
        name = f"dual-{number}"
        w.flight(name, before, 13, "dual", by=by, hood=4 if number > 4 else 0, landings=pattern(home, 4))
        w.items("presolo.d", items, before, name, by)
    w.add(
        "tests",
        "presolo-test",
        kind="pre-solo-knowledge",
        date=w.day(150),
        result="pass",
        aircraft_model=w.spelling(),
        instructor=IDA,
    )
    w.model_endorsement("presolo-endorsement", "pre-solo-training", 140, IDA, 141)
    w.model_endorsement("solo-endorsement", "solo-90-day", 140, IDA, 141)
    # local solo: 5.0 h, three takeoffs and full-stop landings at a towered airport
    for number, (before, tenths) in enumerate([(138, 5), (134, 10), (131, 12), (128, 12), (125, 11)], 1):
        w.flight(
            f"solo-{number}",
            before,
            tenths,
            "solo",
            landings=pattern(home, 3 if number == 1 else 1, full_stop=number == 1, towered=number == 1),
        )
    # dual cross-country: 3.9 h with 1.4 h under the hood
    w.flight(
        "xc-dual-1",
        122,
        21,
        "dual",
        by=IDA,
        route=[home, one, home],
        cross_country=True,
        hood=7,
        landings=[landed(one), landed(home)],
    )
    w.flight(
        "xc-dual-2",
        118,
        18,
        "dual",
        by=IDA,
        route=[home, two, home],
        cross_country=True,
        hood=7,
        landings=[landed(two), landed(home)],
    )
    w.items("soloxc.e", range(1, 9), 122, "xc-dual-1", IDA)
    w.items("soloxc.e", range(9, 13), 118, "xc-dual-2", IDA)
    # dual night: 3.0 h, ten landings in the pattern, one flight of more than 100 NM in all
    split = 3 if partly_night else 0
    w.flight(
        "night-1",
        115,
        7 + split,
        "dual",
        by=IDA,
        night=7,
        at_night=True,
        landings=pattern(home, 5, "night", True),
    )
    w.flight(
        "night-2", 112, 7, "dual", by=IDA, night=7, at_night=True, landings=pattern(home, 5, "night", True)
    )
    w.flight(
        "night-xc",
        108,
        16,
        "dual",
        by=IDA,
        night=16,
        at_night=True,
        route=[home, one, home],
        cross_country=True,
        landings=[landed(one, period="night"), landed(home, period="night")],
    )
    w.endorse("category-endorsement", "solo-cross-country-category", 106, IDA, 118, category="airplane")
    w.model_endorsement("model-endorsement", "solo-cross-country-model", 106, IDA, 118)
    # solo cross-country: 5.0 h, one flight of 150 NM with full stops at three points
    long_route = [home, one, two, home]
    w.model_endorsement(
        "long-endorsement", "solo-cross-country-flight", 104, IDA, route=long_route, flight_date=w.day(104)
    )
    stops = [landed(one), landed(two), landed(home)]
    if trip:
        for number, tenths in enumerate((9, 11, 10)):
            w.flight(
                f"long-{number + 1}",
                104,
                tenths,
                "solo",
                route=long_route[number : number + 2],
                cross_country=True,
                landings=[stops[number]],
                hour=9 + 2 * number,
                trip="long",
            )
    else:
        w.flight("long", 104, 30, "solo", route=long_route, cross_country=True, landings=stops)
    w.model_endorsement(
        "short-endorsement",
        "solo-cross-country-flight",
        101,
        IDA,
        route=[home, one, home],
        flight_date=w.day(101),
    )
    w.flight(
        "solo-xc",
        101,
        20,
        "solo",
        route=[home, one, home],
        cross_country=True,
        landings=[landed(one), landed(home)],
    )
    # what is left to 40.0 h: 9.7 h, or 2.5 h less with a device or a glider
    left = 97 - split - (25 if device else 0) - (25 if glider == "needed" else 0)
    number = 0
    while left:
        number += 1
        tenths = min(13, left)
        left -= tenths
        kind = "solo" if extra == "solo" else "dual"
        w.flight(
            f"extra-{number}",
            100 - 2 * number,
            tenths,
            kind,
            by=IDA if kind == "dual" else None,
            landings=pattern(home, 2, towered=False),
        )
    if device:
        for number, tenths in enumerate((13, 12), 1):
            w.flight(
                f"device-{number}",
                127 - number,
                tenths,
                "dual",
                by=other,
                route=(home,),
                aircraft={"device": "FTD", "registration": "FTD-7"},
            )
    if glider:
        sailplane = {"registration": "N00GL", "model": "SGS 2-33", "category": "glider", "class": None}
        for number, tenths in enumerate((9, 8, 8), 1):
            w.flight(f"glider-{number}", 220 - 3 * number, tenths, "dual", by=CY, aircraft=sailplane)
    if air_force:
        trainer = {"registration": "N00AF", "model": "DA20"}
        for number in (1, 2):
            w.flight(f"air-force-{number}", 230 - 3 * number, 12, "dual", by=AIR_FORCE, aircraft=trainer)
    # the knowledge test
    w.ground("ground-1", 112, "rules, weather, navigation", IDA)
    w.test_endorsement("knowledge-endorsement", "knowledge-test", 105, IDA, KNOWLEDGE)
    if failed_knowledge:
        w.add(
            "tests",
            "failed-knowledge",
            kind=KNOWLEDGE,
            date=w.day(103),
            result="fail",
            score=62,
            deficient_codes=["PA.I.C.K2", "PA.I.E.K1", "PA.I.F.K3"],
        )
        w.ground("knowledge-retraining", 97, "the areas missed on the knowledge test", IDA)
        w.endorse("knowledge-retest", "retest", 96, IDA, test=KNOWLEDGE)
    passed: dict[str, Any] = {"score": score}
    if score < 100:
        passed["deficient_codes"] = ["PA.I.C.K2"]
    elif score == 100 and not w.habits.class_named:
        passed["deficient_codes"] = []
    w.add("tests", "knowledge", kind=KNOWLEDGE, date=w.day(83), result="pass", **passed)
    # preparation: 3.0 h in the two calendar months before the month of the test
    earlier = 4 if failed_practical else 0
    for number, (before, tenths, areas) in enumerate(
        [(30, 12, (1, 2, 3, 4, 5)), (16, 10, (6, 7, 8, 9)), (6, 8, (10, 11, 12))], 1
    ):
        name = f"preparation-{number}"
        by = IDA if number == 3 else other
        w.flight(
            name, before + earlier, tenths, "dual", by=by, purposes=[PREPARATION], landings=pattern(home, 3)
        )
        w.items("area.private", areas, before + earlier, name, by)
    ready, trained = 4 + earlier, 6 + earlier
    if score < 100:
        w.test_endorsement("deficiencies", "knowledge-deficiencies-reviewed", ready, IDA, KNOWLEDGE)
    w.test_endorsement(
        "prerequisites", "practical-test-prerequisites", ready, IDA, PRACTICAL, trained=trained
    )
    w.test_endorsement("practical-endorsement", "practical-test", ready, IDA, PRACTICAL, trained=trained)
    # 61.49: each failure, the further training, and that instructor's endorsement
    for time in range(1, failed_practical + 1):
        failed = 9 - 3 * time
        w.add("tests", f"failed-practical-{time}", kind=PRACTICAL, date=w.day(failed), result="fail")
        after = failed - 1
        w.flight(
            f"retraining-{time}", after, 11, "dual", by=IDA, purposes=[PREPARATION], landings=pattern(home, 3)
        )
        w.endorse(f"retest-{time}", "retest", after, IDA, test=PRACTICAL)
        w.test_endorsement(
            f"prerequisites-again-{time}", "practical-test-prerequisites", after, IDA, PRACTICAL
        )
        w.test_endorsement(f"practical-again-{time}", "practical-test", after, IDA, PRACTICAL)
    return {} if application is None else {"application_date": w.day(application)}


#: name: (milestone, builder)
BASES: dict[str, tuple[str, Callable[..., Mapping[str, Any]]]] = {
    "first-solo": ("faa.first-solo", first_solo),
    "solo-night": ("faa.solo-night", solo_night),
    "solo-class-b": ("faa.solo-class-b", solo_class_b),
    "solo-cross-country": ("faa.solo-cross-country", solo_cross_country),
    "solo-repeated": ("faa.solo-cross-country", solo_repeated),
    "solo-nearby": ("faa.solo-cross-country", solo_nearby),
    "knowledge-test": ("faa.private-knowledge-test", knowledge_test),
    "practical-test": ("faa.private-practical-test", practical_test),
}


def lawful(
    name: str,
    on: date = ASKED_ON,
    habits: Habits | None = None,
    random: Random | None = None,
    id: str | None = None,
    **options: Any,
) -> Question:
    """One lawful record of a base, with its question."""
    habits = habits or Habits()
    if name == "solo-class-b":
        habits = replace(habits, home=AREAS[options.get("area", "Minneapolis")][0])
    milestone, build = BASES[name]
    writer = Writer(on, habits, random or Random(name))
    context = dict(build(writer, **options))
    return Question(id or name, milestone, on, context, writer.document())


SPELLINGS = (
    ("C172",),
    ("C172",),
    ("C-172",),
    ("C172", "C-172"),
    ("C172S",),
    ("C172", "C172S"),
    ("Cessna 172", "C172"),
    ("Cessna 172", "C-172", "C172S"),
)
#: How many records of each base.
HOW_MANY = {
    "first-solo": 40,
    "solo-night": 28,
    "solo-class-b": 30,
    "solo-cross-country": 30,
    "solo-repeated": 20,
    "solo-nearby": 16,
    "knowledge-test": 24,
    "practical-test": 52,
}


def _habits(r: Random, name: str, on: date, number: int) -> Habits:
    clock = ("none", "off-on", "taxi", "out-in")[number % 4]
    medical = r.choice(("third", "third", "second", "first"))
    years, days = r.choice((16, 17, 19, 24, 39, 40, 41, 63)), r.randrange(0, 360)
    if name == "practical-test":
        years = max(years, 17)
    if name == "knowledge-test":
        years = r.choice((16, years))
    born = on.replace(year=on.year - years) - timedelta(days=days)
    if number % 11 == 5:
        medical, born = "basicmed", date(1985, 3, 9)
    return Habits(
        home=r.choice(("KOSH", "KOSH", "KFCM", "KAPA", "KSUS")),
        spellings=r.choice(SPELLINGS),
        clock=clock,
        unit=r.choice(("hours", "minutes", "colon", "number")),
        night_column=r.choice(("blank", "zero")),
        training_dates=r.random() < 0.6,
        test_named=r.random() < 0.5,
        class_named=r.random() < 0.3,
        medical=medical,
        born=born,
        two_instructors=r.random() < 0.4,
        same_day=r.random() < 0.3,
        items_linked=r.random() < 0.7,
        landings_noted=r.random() < 0.7,
        class_of_aircraft=r.random() < 0.85,
        similar="C152" if name != "practical-test" and number % 10 == 7 else None,
    )


def _options(r: Random, name: str, number: int) -> dict[str, Any]:
    if name == "solo-night":
        return {"whole": r.random() < 0.6}
    if name == "solo-class-b":
        with_airport = number % 2 == 1
        return {
            "area": r.choice(tuple(AREAS)),
            "with_airport": with_airport,
            "landing": with_airport or number % 3 != 0,
            "given": r.choice((1, 9, 15)),
        }
    if name == "solo-cross-country":
        return {
            "combined": r.random() < 0.5,
            "reviewed_by": r.choice((IDA, IDA, CY)),
            "where": r.choice(("far", "far", "near", "two stops")),
        }
    if name == "solo-repeated":
        distance = r.choice((None, None, 31.0, 49.9))
        return {
            "combined": r.random() < 0.5,
            "two_flights": r.random() < 0.4,
            "distance": distance,
            "azimuth": float(r.randrange(0, 360, 15)),
        }
    if name == "solo-nearby":
        return {"distance": r.choice((None, None, 12.0, 24.9)), "azimuth": float(r.randrange(0, 360, 15))}
    if name == "knowledge-test":
        return {"by": r.choice((IDA, GIL)), "failed": r.choice((0, 0, 1, 1, 2))}
    if name == "practical-test":
        return {
            "score": r.choice((70, 88, 96, 100)),
            "failed_knowledge": r.random() < 0.3,
            "failed_practical": r.choice((0, 0, 0, 0, 1, 1, 2)),
            "trip": r.random() < 0.4,
            "device": r.random() < 0.25,
            "glider": r.choice(("", "", "beside", "needed")),
            "air_force": r.random() < 0.25,
            "extra": r.choice(("dual", "dual", "solo")),
            "application": r.choice((None, None, 2, 0)),
            "partly_night": r.random() < 0.3,
        }
    return {}


def generated() -> Iterator[Question]:
    """Every lawful record of the corpus, the same in every run."""
    for name, many in HOW_MANY.items():
        for number in range(many):
            r = Random(f"lawful {name} {number}")
            on = date(2025, 4, 1) + timedelta(days=r.randrange(0, 600))
            habits = _habits(r, name, on if (on.month, on.day) != (2, 29) else on + timedelta(days=1), number)
            question = lawful(name, on, habits, r, f"{name}-{number:02d}", **_options(r, name, number))
            add_beside(r, question)
            yield question
