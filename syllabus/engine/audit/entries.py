"""Entries of a logbook without what the rule asks them to say."""

from collections.abc import Iterator

from syllabus.engine.audit.audit import CORRECTION, INCOMPLETE, Audited, Found
from syllabus.engine.record.record import Flight, GroundLesson
from syllabus.engine.rules.rulebook import Rules, RuleVersion

_WORDS = {
    "total": "the total time",
    "places": "the place of departure and arrival",
    "type": "the type of the aircraft or device",
    "identification": "the identification of the aircraft",
    "kind": "whether it was solo, with an instructor or as pilot in command",
    "description": "a description of the training",
    "length": "the length of the lesson",
    "instructor": "the instructor who gave the training",
    "certificate": "the instructor's certificate number",
}


def findings(audited: Audited, rules: Rules) -> Iterator[Found]:
    """One finding for each flight or ground lesson that leaves something out.

    Flights that lack nothing but words on the training are told together: it is a habit, not a slip.
    """
    # Flights, and days without one, whose grades say what was trained.
    described = {grade.flight or grade.date for grade in audited.record.items}
    wordless: list[Flight] = []
    for flight in audited.record.flights:
        lacks = list(_of_flight(flight, rules.near("logbook-flight", flight.date)))
        if flight.times.get("dual"):
            rule = rules.near("logbook-training", flight.date)
            lacks += _of_training(flight, rule, flight.id in described or flight.date in described)
        if [name for name, _ in lacks] == ["description"]:
            wordless.append(flight)
        else:
            yield from _told(flight, lacks, "The flight")
    for lesson in audited.record.ground:
        rule = rules.near("logbook-training", lesson.date)
        yield from _told(lesson, list(_of_training(lesson, rule, False)), "The ground lesson")
    if wordless:
        yield _wordless(wordless, rules)


def _wordless(flights: list[Flight], rules: Rules) -> Found:
    first, last = flights[0].date, flights[-1].date
    rule = rules.near("logbook-training", last)
    when = f"of {first}" if first == last else f"from {first} to {last}"
    many = "flight with an instructor" if len(flights) == 1 else "flights with an instructor"
    return Found(
        kind="entry-incomplete",
        severity=INCOMPLETE,
        about=("description",),
        day=first,
        entries=tuple(flight.id for flight in flights),
        says=f"{len(flights)} {many} {when}: no remark, purpose or graded item describes the training.",
        citations=(rule.cite.section,),
        mend=CORRECTION,
        way="Correct each entry so that it describes the training.",
        verified=rule.verified,
    )


def _of_flight(flight: Flight, rule: RuleVersion) -> Iterator[tuple[str, RuleVersion]]:
    device, times = flight.aircraft.device, flight.times
    says = {
        "total": bool(times.get("total")),
        "places": bool(flight.route),
        "type": bool(flight.aircraft.model),
        "identification": bool(flight.aircraft.registration or device),
        "kind": bool(device or any(times.get(each) for each in ("solo", "dual", "pic"))),
    }
    for name in rule.params["fields"]:
        if not says.get(name, True):
            yield name, rule


def _of_training(
    lesson: Flight | GroundLesson, rule: RuleVersion, graded: bool
) -> Iterator[tuple[str, RuleVersion]]:
    if isinstance(lesson, Flight):
        described, length = bool(lesson.remarks.strip() or lesson.purposes or graded), True
    else:
        described, length = bool(lesson.topic.strip()), bool(lesson.time)
    says = {
        "description": described,
        "length": length,
        "instructor": lesson.instructor is not None,
        "certificate": lesson.instructor is None or bool(lesson.instructor.certificate),
    }
    for name in rule.params["fields"]:
        if not says.get(name, True):
            yield name, rule


def _told(lesson: Flight | GroundLesson, lacks: list[tuple[str, RuleVersion]], what: str) -> Iterator[Found]:
    if not lacks:
        return
    missing = ", ".join(_WORDS[name] for name, _ in lacks)
    yield Found(
        kind="entry-incomplete",
        severity=INCOMPLETE,
        about=(lesson.id,),
        day=lesson.date,
        entries=(lesson.id,),
        says=f"{what} of {lesson.date} does not say: {missing}.",
        citations=tuple(dict.fromkeys(rule.cite.section for _, rule in lacks)),
        mend=CORRECTION,
        way="Correct the entry and add what is missing.",
        verified="second-hand" if any(rule.verified != "read" for _, rule in lacks) else "read",
    )
