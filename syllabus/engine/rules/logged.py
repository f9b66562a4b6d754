"""Logged time as totals add it up: what each flight gives, derived once and shared by every requirement.

Most flights leave nothing open: so much time of a kind, by an instructor, in an aircraft that suits, with
nothing on record against it. Such a time is plain, and its row is made here, once for a record, whichever
requirements and milestones add it up. Any other flight is looked at closely, by whoever adds up.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from syllabus.engine.record.record import Flight, Record
from syllabus.engine.rules import conflicts, facts, journeys
from syllabus.engine.rules.finding import Counted
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.reasons import NOTHING, Named, Reason, WholeMinutes, reason
from syllabus.engine.time import amounts
from syllabus.engine.time.units import MINUTE

#: A logbook is kept in tenths of an hour; a computed night that differs by more is worth a word.
LOGBOOK_STEP = 6 * MINUTE


@dataclass(slots=True)
class Share:
    """What one entry gives: for sure, at most, and why not more."""

    sure: int = 0
    possible: int = 0
    device: bool = False
    why: Reason = NOTHING
    note: Reason = NOTHING
    missing: tuple[Reason, ...] = ()


Row = tuple[Flight, int, int, Counted | None, Share | None]
"""A flight, what it gives for sure and at most, the evidence of that, and what was found if not plain."""
Closer = Callable[[Flight], Share | None]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a total asks of the time that it adds up.

    ``counts`` are the kinds of time that must fall together, ``aircraft`` one of ``facts.AIRCRAFT``,
    ``purpose`` what the flight must be logged as, and ``landing`` the distance (hundredths of a nautical
    mile) that a landing must be away.
    """

    counts: tuple[str, ...]
    aircraft: str = facts.ANY
    purpose: str = ""
    landing: int | None = None


class Rows:
    """What each entry gives to a total, in order of date; the days and times of the rows by themselves."""

    def __init__(self, rows: list[Row]):
        self.rows = rows
        self.days = [row[0].date for row in rows]
        self.sure = [row[1] for row in rows]
        self.possible = [row[2] for row in rows]

    def within(self, first: date, last: date) -> tuple[list[Row], list[Row]]:
        """The rows before the first day, and those from it to the last."""
        start = bisect_left(self.days, first)
        return self.rows[:start], self.rows[start : bisect_right(self.days, last)]


class Log:
    """The rows of one record, for one school's settings and models and one country's rules."""

    def __init__(self, record: Record, question: Question):
        self.settings, self.models, self.country = question.settings, question.models, question.country
        self.rows: dict[Wanted, Rows] = {}
        self._columns: dict[tuple[str, ...], list[Row]] = {}
        dual, night = facts.flights_logging(record, "dual"), facts.flights_logging(record, "night")
        #: Which instructors of dual flights, by identity, give flight training.
        self.taught = _taught(dual)
        #: The ids of flights with something against their times, and against those of one kind.
        self._doubted = {
            *conflicts.conflicts(record, question),
            *(flight.id for flight in conflicts.clocked(record) if self._over_clock(flight)),
        }
        self._doubted_of = {
            "dual": {flight.id for flight in dual if not self.taught[id(flight.instructor)]},
            "night": {flight.id for flight in night if not _plain_night(flight)},
        }
        #: How the computed night differs from the logged one, by the ids of flights where it does.
        self.differs = {flight.id: said for flight in night if (said := _night_differs(flight))}
        #: A flight for each aircraft and each route; many flights of a record have the same one.
        self._crafts = {id(flight.aircraft): flight for flight in record.flights}
        self._routes = {id(flight.route): flight for flight in record.flights}
        self._suited: dict[str, frozenset[int] | None] = {}
        self._landing: dict[int, dict[int, Share | None]] = {}
        self._on_route: dict[tuple[int, int], bool] = {}

    def answers(self, question: Question) -> bool:
        """Whether its rows are those of a question."""
        return (
            self.settings is question.settings
            and self.models is question.models
            and self.country == question.country
        )

    def column(self, record: Record, counts: tuple[str, ...]) -> list[Row]:
        """A row for every flight that logs all of these times; without evidence where it is not plain."""
        if counts not in self._columns:
            doubted = self._doubted.union(*(self._doubted_of.get(name, ()) for name in counts))
            flights = min((facts.flights_logging(record, name) for name in counts), key=len)
            rows = self._columns[counts] = []
            known: dict[int, tuple[int, int, amounts.Amounts]] = {}  # by the times, which flights may share
            for flight in flights:
                if (found := known.get(id(flight.times))) is None:
                    sure, most = _together(flight, counts)
                    found = known[id(flight.times)] = sure, most, (amounts.time(most),)
                sure, most, gave = found
                if most and sure == most and flight.id not in doubted:
                    rows.append((flight, most, most, (flight.id, gave), None))
                elif most or "night" in counts:
                    rows.append((flight, 0, 0, None, None))
        return self._columns[counts]

    def suited(self, aircraft: str) -> frozenset[int] | None:
        """Which aircraft, by identity, are plainly of the sort wanted; None where all of them are."""
        if aircraft not in self._suited:
            suited = frozenset(
                craft
                for craft, flight in self._crafts.items()
                if facts.suits(flight, aircraft, self.models)[0] is True
            )
            self._suited[aircraft] = None if len(suited) == len(self._crafts) else suited
        return self._suited[aircraft]

    def landing(self, limit: int) -> dict[int, Share | None]:
        """The routes, by identity, that plainly have a landing more than so far from where they began: None.

        Those that plainly do not have a share that says so; any other, and one close to the limit, is not in.
        """
        if limit not in self._landing:
            found = self._landing[limit] = {}
            for route, flight in self._routes.items():
                journey = journeys.Journey((flight,), flight.route)
                beyond, why = journey.lands_beyond(limit)
                far = journey.farthest
                if beyond is not None and not (far and journeys.close(far[0], limit)):
                    found[route] = None if beyond else Share(why=why)
        return self._landing[limit]

    def on_route(self, flight: Flight) -> bool:
        """Whether a flight landed nowhere but on its route, as far as is known."""
        where = id(flight.route), id(flight.landings)
        if where not in self._on_route:
            self._on_route[where] = not any(
                conflicts.landing_conflict(flight, each) for each in flight.landings
            )
        return self._on_route[where]

    def _over_clock(self, flight: Flight) -> bool:
        """Whether some of the times of a flight may not fit its clock."""
        bound = conflicts.hours_bound(flight, self.settings)
        instrument = facts.logged(flight, facts.INSTRUMENT) or 0
        return bound is not None and max(instrument, *flight.times.values(), 0) > bound


def log_of(record: Record, question: Question) -> Log:
    """The log of a record, made once for all that is asked of it by the same settings."""
    log: Log | None = record.memo.get("log")
    if log is None or not log.answers(question):
        log = record.memo["log"] = Log(record, question)
    return log


def rows(record: Record, question: Question, wanted: Wanted, closer: Closer) -> Rows:
    """What each flight gives.

    ``closer`` looks at a flight that is not plain: what it finds says what is ``sure`` and ``possible``; None
    where the flight has nothing to do with what is wanted.
    """
    log = log_of(record, question)
    if wanted in log.rows:
        return log.rows[wanted]
    log.rows[wanted] = Rows(_filled(log, log.column(record, wanted.counts), wanted, closer))
    return log.rows[wanted]


def _filled(log: Log, column: list[Row], wanted: Wanted, closer: Closer) -> list[Row]:
    """The rows of a column with what a closer look finds wherever one is not plainly what is wanted."""
    found: list[Row] = []
    suited, purpose = log.suited(wanted.aircraft), wanted.purpose
    landing = None if wanted.landing is None else log.landing(wanted.landing)
    for row in column:
        flight = row[0]
        if (
            row[3] is not None
            and (suited is None or id(flight.aircraft) in suited)
            and (not purpose or purpose in flight.purposes)
        ):
            if landing is None:
                found.append(row)
                continue
            if flight.trip is None and (route := id(flight.route)) in landing:
                found.append(row if (short := landing[route]) is None else (flight, 0, 0, None, short))
                continue
        if (share := closer(flight)) is not None:
            found.append((flight, share.sure, share.possible, evidence(flight, share.sure), share))
    return found


def evidence(flight: Flight, gave: int) -> Counted | None:
    return (flight.id, (amounts.time(gave),)) if gave else None


def _taught(flights: tuple[Flight, ...]) -> dict[int, bool]:
    """Which instructors of these flights, by identity, give flight training."""
    by = {id(flight.instructor): flight for flight in flights}
    return {instructor: facts.taught(flight)[0] is True for instructor, flight in by.items()}


def _together(flight: Flight, counts: tuple[str, ...]) -> tuple[int, int]:
    """How long a flight logs all of these times at once, for sure and at most.

    Times overlap for sure only as far as they fill the entry.
    """
    given = [facts.logged(flight, name) or 0 for name in counts]
    most = min(given)
    whole = flight.times.get("total") or max(given)
    return min(most, sum(given) - (len(given) - 1) * whole), most


def _plain_night(flight: Flight) -> bool:
    """Whether neither the Sun nor the clock says anything against the night that is logged."""
    if flight.off is None and flight.out is None:
        return True
    if facts.computed_night(flight) and flight.out is None and flight.in_ is None:
        return True  # some of it was at night
    return not conflicts.night_conflict(flight)


def _night_differs(flight: Flight) -> Reason:
    """A word where the computed night and the logged one are apart by more than a logbook's tenth."""
    computed = facts.computed_night(flight)
    night = flight.times.get("night", 0)
    if computed is None or abs(computed - night) <= LOGBOOK_STEP:
        return NOTHING
    return reason(
        "time.night-differs",
        flight=Named(flight.id),
        logged=WholeMinutes(facts.minutes(night)),
        computed=WholeMinutes(facts.minutes(computed)),
    )
