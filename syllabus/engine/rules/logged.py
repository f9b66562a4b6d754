"""Logged time as totals add it up: what each flight gives, derived once and shared by every requirement.

Most flights leave nothing open: so much time of a kind, by an instructor, in an aircraft that suits, with
nothing on record against it. Such a time is plain, and its row is made here, once for a record, whichever
requirements and milestones add it up. Any other flight is looked at closely, by whoever adds up.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from syllabus.engine.record.record import Flight, Record
from syllabus.engine.rules import conflicts, facts, journeys
from syllabus.engine.rules.finding import Counted
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.settings import Settings
from syllabus.engine.time import amounts
from syllabus.engine.time.units import MINUTE

#: A logbook is kept in tenths of an hour; a computed night that differs by more is worth a word.
LOGBOOK_STEP = 6 * MINUTE

Row = tuple[Flight, int, int, Counted | None, Any]
"""A flight, what it gives for sure and at most, the evidence where that is plain, else what was found."""
Closer = Callable[[Flight], Any]


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


class Log:
    """The rows of one record, for one school's settings and models and one country's rules."""

    def __init__(self, record: Record, question: Question):
        self.settings, self.models, self.country = question.settings, question.models, question.country
        self.rows: dict[Wanted, list[Row]] = {}
        self._columns: dict[tuple[str, ...], list[Row]] = {}
        #: The ids of flights with something against their times, and against those of one kind.
        self._doubted = set(conflicts.conflicts(record, question)) | _over_clock(record, question.settings)
        self._doubted_of = {
            "dual": {
                flight.id for flight in facts.flights_logging(record, "dual") if not facts.taught(flight)[0]
            },
            "night": {
                flight.id for flight in facts.flights_logging(record, "night") if not _plain_night(flight)
            },
        }
        #: A flight for each aircraft and each route; many flights of a record have the same one.
        self._crafts = {id(flight.aircraft): flight for flight in record.flights}
        self._routes = {id(flight.route): flight for flight in record.flights}
        self._suited: dict[str, frozenset[int]] = {}
        self._far: dict[int, frozenset[int]] = {}

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
            alone = counts[0] if len(counts) == 1 and counts[0] != facts.INSTRUMENT else None
            rows = self._columns[counts] = []
            for flight in flights:
                if alone is None:
                    sure, most = _together(flight, counts)
                else:
                    sure = most = flight.times.get(alone, 0)
                if most and sure == most and flight.id not in doubted:
                    rows.append((flight, most, most, (flight.id, (amounts.time(most),)), None))
                elif most or "night" in counts:
                    rows.append((flight, 0, 0, None, None))
        return self._columns[counts]

    def suited(self, aircraft: str) -> frozenset[int]:
        """Which aircraft, by identity, are plainly of the sort wanted."""
        if aircraft not in self._suited:
            self._suited[aircraft] = frozenset(
                craft
                for craft, flight in self._crafts.items()
                if facts.suits(flight, aircraft, self.models)[0] is True
            )
        return self._suited[aircraft]

    def far(self, limit: int) -> frozenset[int]:
        """Which routes, by identity, plainly have a landing more than so far from where they began."""
        if limit not in self._far:
            self._far[limit] = frozenset(
                route
                for route, flight in self._routes.items()
                if (far := journeys.Journey((flight,), flight.route).farthest) is not None
                and far[0] > limit
                and not journeys.close(far[0], limit)
            )
        return self._far[limit]


def log_of(record: Record, question: Question) -> Log:
    """The log of a record, made once for all that is asked of it by the same settings."""
    log: Log | None = record.memo.get("log")
    if log is None or not log.answers(question):
        log = record.memo["log"] = Log(record, question)
    return log


def rows(record: Record, question: Question, wanted: Wanted, closer: Closer) -> list[Row]:
    """What each flight gives, in order of date.

    ``closer`` looks at a flight that is not plain: what it finds says what is ``sure`` and ``possible``; None
    where the flight has nothing to do with what is wanted.
    """
    log = log_of(record, question)
    if wanted in log.rows:
        return log.rows[wanted]
    found = log.rows[wanted] = []
    suited, purpose, landing = log.suited(wanted.aircraft), wanted.purpose, wanted.landing
    far = frozenset() if landing is None else log.far(landing)
    for row in log.column(record, wanted.counts):
        flight = row[0]
        if (
            row[3] is not None
            and id(flight.aircraft) in suited
            and (not purpose or purpose in flight.purposes)
            and (landing is None or (flight.trip is None and id(flight.route) in far))
        ):
            found.append(row)
        elif (share := closer(flight)) is not None:
            found.append((flight, share.sure, share.possible, None, share))
    return found


def _together(flight: Flight, counts: tuple[str, ...]) -> tuple[int, int]:
    """How long a flight logs all of these times at once, for sure and at most.

    Times overlap for sure only as far as they fill the entry.
    """
    given = [facts.logged(flight, name) or 0 for name in counts]
    most = min(given)
    whole = flight.times.get("total") or max(given)
    return min(most, sum(given) - (len(given) - 1) * whole), most


def _over_clock(record: Record, settings: Settings) -> set[str]:
    """The flights on a clock that some of their times may not fit."""
    return {
        flight.id
        for flight in record.flights
        if (flight.off or flight.out)
        and (bound := conflicts.hours_bound(flight, settings)) is not None
        and max(0, facts.logged(flight, facts.INSTRUMENT) or 0, *flight.times.values()) > bound
    }


def _plain_night(flight: Flight) -> bool:
    """Whether neither the Sun nor the clock says anything against the night that is logged."""
    if flight.off is None and flight.out is None:
        return True
    computed = facts.computed_night(flight)
    if computed is not None and abs(computed - flight.times.get("night", 0)) > LOGBOOK_STEP:
        return False
    if computed and flight.out is None and flight.in_ is None:
        return True  # some of it was at night
    return not conflicts.night_conflict(flight)
