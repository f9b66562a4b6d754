"""The training that an endorsement rests on: what of it is on record, by whom, in what, and when.

A rule's ``training`` says what it asks of it. Each dual flight up to the day of the endorsement answers yes,
no, or with what nothing on record says; the newest that counts decides how long training within a time holds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from syllabus.engine.places.geography import Place
from syllabus.engine.record.record import GRADES, Endorsement, Flight, Record
from syllabus.engine.record.vocabulary import FLIGHT_TRAINING
from syllabus.engine.rules import conflicts, facts
from syllabus.engine.rules.facts import YES, Fact
from syllabus.engine.rules.kinds import registry
from syllabus.engine.rules.kinds.registry import Param
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.reasons import NOTHING, Named, Reason, reason, several
from syllabus.engine.time.sun import is_night

SAME, SIMILAR = "same", "similar"
PREPARATION = "practical-test-preparation:"
#: Flights that do not count, as far as the reason names them.
_MOST_TOLD = 3

TRAINING = registry.struct(
    together=(("items", "grade"),),
    model=Param(registry.word(SAME, SIMILAR)),
    by_endorser=Param(registry.flag),
    at_night=Param(registry.flag),
    at_airport=Param(registry.flag),
    over_route=Param(registry.flag),
    on_its_day=Param(registry.flag),
    prepares_for=Param(registry.word()),
    items=Param(registry.word()),
    grade=Param(registry.word(*GRADES)),
)


@dataclass(slots=True)
class Trained:
    """What the record shows: the newest day of training that counts for sure, and that may count.

    ``asked`` says what is missing for the latter, ``why`` why nothing more counts.
    """

    sure: date | None = None
    possible: date | None = None
    asked: list[Reason] = field(default_factory=list)
    why: Reason = NOTHING

    def lacks(self) -> Iterable[Fact]:
        """What speaks against an endorsement that rests on this training."""
        if self.possible is None:
            return [(False, self.why)]
        return [(None, missing) for missing in self.asked] if self.sure is None else []


def behind(
    asks: dict[str, Any],
    record: Record,
    question: Question,
    each: Endorsement,
    *,
    opens: date | None = None,
    closes: date | None = None,
    route: tuple[Place, ...] | None = None,
) -> Trained:
    """The training on record up to an endorsement's day, from ``opens`` and up to ``closes`` where given.

    ``route`` is that over which the training must have gone, where the rule asks for one.
    """
    last = each.given if closes is None else min(each.given, closes)
    found = Trained()
    whys: list[Reason] = []
    # the newest that counts decides, and an open question is worth asking only where it is newer still
    for flight in reversed(facts.dual_flights(record)):
        if flight.date > last or (opens is not None and flight.date < opens):
            continue
        met, said = _verdict(_answers(asks, record, question, each, flight))
        if met is False:
            whys.append(said)
            continue
        if found.possible is None:
            found.possible, found.asked = flight.date, [_of(flight, said)] if said else []
        if met:
            found.sure = flight.date
            break
    if found.possible is None:
        found.why = _nothing(whys, last, opens)
    elif asks.get("over_route"):
        _over_route(asks, record, question, each, route or question.context.route or each.route, found)
    return found


def _of(flight: Flight, what: Reason) -> Reason:
    return reason("training.of-flight", flight=Named(flight.id), what=what)


def _nothing(whys: list[Reason], last: date, opens: date | None) -> Reason:
    none = (
        reason("training.none-since", opens=opens, last=last) if opens else reason("training.none", last=last)
    )
    told = tuple(dict.fromkeys(whys))[:_MOST_TOLD]
    return reason("training.none-because", none=none, reasons=told) if told else none


def _answers(
    asks: dict[str, Any], record: Record, question: Question, each: Endorsement, flight: Flight
) -> Iterable[Fact]:
    """What a flight says to each thing asked of the training, the plainest "no" first."""
    if conflict := conflicts.conflicts(record, question).get(flight.id):
        yield None, conflict
    yield _kind_of_training(asks, flight)
    yield _category(question, flight)
    if asks.get("at_night"):
        yield _at_night(flight)
    if asks.get("at_airport"):
        yield _at_airport(asks, question, flight)
    if asks.get("model"):
        yield _model(asks["model"], question, each, flight)
    yield _by(asks, each, flight)


def _kind_of_training(asks: dict[str, Any], flight: Flight) -> Fact:
    prepares = asks.get("prepares_for")
    if prepares and PREPARATION + prepares not in flight.purposes:
        return False, reason("training.not-preparation", flight=Named(flight.id), test=prepares)
    return YES


def _category(question: Question, flight: Flight) -> Fact:
    category, _ = question.models.kind_of(flight.aircraft)
    if category is None:
        return None, reason("aircraft.category-unknown")
    if question.category not in (None, category):
        return False, reason("training.other-aircraft", flight=Named(flight.id), flown=category)
    return YES


def _model(how: str, question: Question, each: Endorsement, flight: Flight) -> Fact:
    """Training in the make and model, or in a similar one that the instructor attests is similar."""
    wanted, flown = question.context.aircraft_model or each.aircraft_model, flight.aircraft.model
    if wanted is None:
        return YES  # asked of the context already
    if flown is None:
        return None, reason("training.model-unknown")
    same = question.models.same(flown, wanted)
    if same:
        return YES
    if how == SIMILAR and each.similar_model and question.models.same(flown, each.similar_model):
        known = question.context.category or question.models.find(wanted)
        return YES if known else (None, reason("training.category-unknown", model=wanted))
    if how == SIMILAR:
        return None, reason("training.similar-unknown", flown=flown, wanted=wanted)
    if same is None:
        return None, reason("model.same-unknown", given=flown, wanted=wanted)
    return False, reason("training.other-model", flight=Named(flight.id), flown=flown)


def _at_night(flight: Flight) -> Fact:
    if conflict := conflicts.night_conflict(flight):
        return None, conflict
    if flight.times.get("night"):
        return YES
    if unknown := facts.night_unknown(flight):
        return None, unknown
    return False, reason("training.by-day", flight=Named(flight.id))


def _at_airport(asks: dict[str, Any], question: Question, flight: Flight) -> Fact:
    airport = question.context.airport
    if airport is None:
        return YES  # asked of the context already
    places = {place.key for place in flight.route} | {each.at.key for each in flight.landings if each.at}
    if airport.key not in places:
        if not flight.route:
            return None, reason("route.unknown")
        return False, reason("training.not-at-airport", flight=Named(flight.id), airport=airport.key)
    return _night_there(flight, airport) if asks.get("at_night") else YES


def _night_there(flight: Flight, airport: Place) -> Fact:
    """Whether a flight with night time was at an airport by night, where it was at others too."""
    landed = {
        each.period for each in flight.landings if each.at and each.at.key == airport.key and each.landings
    }
    if "night" in landed:
        return YES
    if landed == {"day"}:
        return False, reason("training.landings-by-day", flight=Named(flight.id), airport=airport.key)
    nowhere_else = {place.key for place in flight.route} <= {airport.key}
    all_at_night = flight.times.get("night", 0) >= flight.times.get("total", 0) > 0
    if nowhere_else or all_at_night or _began_or_ended_by_night(flight, airport):
        return YES
    return None, reason("training.night-there-unknown", airport=airport.key)


def _began_or_ended_by_night(flight: Flight, airport: Place) -> bool:
    ends = ((flight.off, flight.route[:1]), (flight.on, flight.route[-1:]))
    return any(
        when and place and place[0].key == airport.key and is_night(when, airport) for when, place in ends
    )


def _by(asks: dict[str, Any], each: Endorsement, flight: Flight) -> Fact:
    """Given by an instructor; by the very one who endorsed, where the rule asks for their training."""
    if flight.instructor is None:
        return None, reason("training.instructor-unknown")
    by = flight.instructor
    if by.kind not in FLIGHT_TRAINING:
        return False, reason("training.no-flight-instructor", flight=Named(flight.id), instructor=by.kind)
    if asks.get("by_endorser") and not facts.same_person(by, each.instructor):
        if each.instructor is None:
            return None, reason("instructor.none")
        endorser = each.instructor.name
        return None, reason("training.endorser-unknown", endorser=endorser, instructor=by.name)
    return YES


def _over_route(
    asks: dict[str, Any],
    record: Record,
    question: Question,
    each: Endorsement,
    points: tuple[Place, ...],
    found: Trained,
) -> None:
    """Dual both ways between the first airport of the route and each other one, with a landing at each."""
    pairs = (
        {(points[0].key, place.key) for place in points[1:] if place.key != points[0].key}
        if points
        else set()
    )
    wanted = {pair for a, b in pairs for pair in ((a, b), (b, a))}
    flown, unsure = set(), NOTHING
    for flight in facts.dual_flights(record):
        if flight.date > each.given:
            continue
        met, why = _verdict(_answers(asks, record, question, each, flight))
        legs = _ways(flight)
        if met:
            flown |= legs
        elif met is None and legs & wanted:
            unsure = _of(flight, why)
    if lacking := sorted(wanted - flown):
        if unsure:
            found.sure, found.asked = None, [unsure]
        else:
            found.sure = found.possible = None
            words = tuple(f"{a}-{b}" for a, b in lacking)
            found.why = reason("training.no-flight", legs=words, given=each.given)


def _ways(flight: Flight) -> set[tuple[str, str]]:
    """From each point of a flight's route to each later one: the ways it flew, with stops between."""
    keys = [place.key for place in flight.route]
    return {(a, b) for index, a in enumerate(keys) for b in keys[index + 1 :] if a != b}


def _verdict(answers: Iterable[Fact]) -> Fact:
    """The first "no", else all that is missing, else yes."""
    missing: list[Reason] = []
    for met, said in answers:
        if met is False:
            return False, said
        if met is None:
            missing.append(said)
    return (None, several(missing)) if missing else YES


def items_behind(asks: dict[str, Any], record: Record, each: Endorsement) -> Fact:
    """Whether every item of the list that is on record was at the grade when the endorsement was given.

    Items that are graded on no day at all are another requirement's to miss.
    """
    stem = asks.get("items")
    if not stem:
        return YES
    need = GRADES.index(asks["grade"])
    late = [
        (name, when)
        for name, when in _first_at(record, stem, need, each.given)
        if when is None or when > each.given
    ]
    if not late:
        return YES
    name, when = late[0]
    item, grade, given = Named(name), asks["grade"], each.given
    why = (
        reason("training.items-late", item=item, more=len(late) - 1, grade=grade, given=given)
        if len(late) > 1
        else reason("training.item-late", item=item, grade=grade, given=given)
    )
    return None, reason("training.item-later", late=why, later=when) if when else why


def _first_at(record: Record, stem: str, need: int, given: date) -> Iterable[tuple[str, date | None]]:
    """For each item of the list, a day from which on it was at the grade, looking from ``given``."""
    for name, grades in record.items_by_name.items():
        if not name.startswith(stem):
            continue
        usable = [grade for grade in grades if facts.graded(grade)]
        at: Callable[[Any], bool] = lambda grade: GRADES.index(grade.grade) >= need  # noqa: E731
        before = [grade for grade in usable if grade.date <= given]
        if before and at(before[-1]):
            yield name, before[-1].date
        elif any(at(grade) and grade.date == before[-1].date for grade in before):
            yield name, before[-1].date  # two grades of one day: the item's own requirement asks
        else:
            yield name, next((grade.date for grade in usable if grade.date > given and at(grade)), None)


def on_the_day(record: Record, each: Endorsement) -> Fact:
    """Whether a lesson is on record on the day of training that the endorsement names."""
    day = each.training_date
    if day is None or any(flight.date == day for flight in facts.dual_flights(record)):
        return YES
    return None, reason("training.day-unknown", day=day)
