"""Lawful, complete records for the private pilot knowledge and practical tests: 14 CFR 61.35 to 61.109."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tests.examiner.writing import (
    AIR_FORCE,
    BO,
    CY,
    IDA,
    PREPARATION,
    Writer,
    landed,
    pattern,
)

KNOWLEDGE, PRACTICAL = "knowledge:private-airplane", "practical:private-airplane"


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
    ground_by: Mapping[str, Any] = IDA,
    reviewed_by: Mapping[str, Any] = IDA,
    retrained_by: Mapping[str, Any] = IDA,
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
    ground_by = dict(ground_by)
    w.ground("ground-1", 112, "rules, weather, navigation", ground_by)
    w.test_endorsement("knowledge-endorsement", "knowledge-test", 105, ground_by, KNOWLEDGE)
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
        w.ground("knowledge-retraining", 97, "the areas missed on the knowledge test", ground_by)
        w.endorse("knowledge-retest", "retest", 96, ground_by, test=KNOWLEDGE)
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
        w.test_endorsement(
            "deficiencies", "knowledge-deficiencies-reviewed", ready, dict(reviewed_by), KNOWLEDGE
        )
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
            f"retraining-{time}",
            after,
            11,
            "dual",
            by=dict(retrained_by),
            purposes=[PREPARATION],
            landings=pattern(home, 3),
        )
        w.endorse(f"retest-{time}", "retest", after, dict(retrained_by), test=PRACTICAL)
        w.test_endorsement(
            f"prerequisites-again-{time}", "practical-test-prerequisites", after, IDA, PRACTICAL
        )
        w.test_endorsement(f"practical-again-{time}", "practical-test", after, IDA, PRACTICAL)
    return {} if application is None else {"application_date": w.day(application)}
