"""Lawful, complete records for a student's solo flights: 14 CFR 61.87, 61.93 and 61.95.

Each builder writes the training first, then the endorsement that rests on it, and returns the context of the
question.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tests.examiner.writing import (
    BO,
    CY,
    IDA,
    Writer,
    landed,
    pattern,
    point_at,
)

#: The endorsement of 61.95(b), for an airport within the area.
CLASS_B_AIRPORT = "solo-class-b-airport"


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


def first_solo(w: Writer, renewed: bool = False, **_: Any) -> Mapping[str, Any]:
    """61.87; ``renewed``: trained long ago, and flown and endorsed again by another instructor (61.87(p))."""
    w.papers(400 if renewed else 240)
    first_solo_training(w, last=150 if renewed else 5)
    if renewed:
        w.flight("renewal-dual", 12, 13, "dual", by=CY, landings=pattern(w.habits.home, 5))
        w.model_endorsement("renewed-endorsement", "solo-90-day", 11, CY, 12)
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
