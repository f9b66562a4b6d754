"""Logged time as totals add it up: what each flight gives, derived once and shared by every requirement.

Most flights leave nothing open: so much time of a kind, by an instructor, in an aircraft that suits, with
nothing on record against it. Such a time is plain, and its row is made here. Any other flight is looked at
closely, by whoever adds up.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property

from syllabus.engine import effort
from syllabus.engine.record.record import Flight, Record
from syllabus.engine.rules import conflicts, facts, journeys
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
    """What entries give to a total, in order of date: how much for sure, and that as evidence.

    ``shares`` has what was found of those that are not plain, by their index.
    """

    def __init__(self, rows: Sequence[tuple[Flight, int, amounts.Amounts, Share | None]]) -> None:
        self.flights, self.sure, self.gave, shares = (
            map(list, zip(*rows, strict=True)) if rows else ([], [], [], [])
        )
        self.shares = {index: share for index, share in enumerate(shares) if share is not None}

    @cached_property
    def days(self) -> list[date]:
        return [flight.date for flight in self.flights]

    @property
    def possible(self) -> list[int]:
        """How much at most."""
        found = self.sure.copy()
        for index, share in self.shares.items():
            found[index] = share.possible
        return found

    def with_devices(self, sessions: Iterable[tuple[Flight, Share]]) -> Rows:
        """The same with sessions in training devices."""
        shares = map(self.shares.get, range(len(self.flights)))
        rows = [
            *zip(self.flights, self.sure, self.gave, shares, strict=True),
            *((flight, share.sure, evidence(share.sure), share) for flight, share in sessions),
        ]
        return Rows(sorted(rows, key=lambda row: row[0].order))


class Log:
    """The rows of one record, for one school's settings and models and one country's rules."""

    def __init__(self, record: Record, question: Question):
        self.settings, self.models, self.country = question.settings, question.models, question.country
        self.rows: dict[Wanted, Rows] = {}
        self.flown = flown = facts.flown(record)
        dual, night = flown.logging["dual"], flown.logging["night"]
        #: Which instructors, by identity, give flight training.
        self.taught = {by: facts.taught(flight)[0] is True for by, flight in flown.instructors.items()}
        #: The ids of flights with something against their times, and against those of one kind.
        self._doubted = {
            *conflicts.conflicts(record, question),
            *(flight.id for flight, *_ in flown.clocked if self._over_clock(flight)),
        }
        self._doubted_of = {
            "dual": {flight.id for flight in dual if not self.taught[id(flight.instructor)]},
            "night": {flight.id for flight in night if conflicts.night_conflict(flight)},
        }
        #: How the computed night differs from the logged one, by the ids of flights where it does.
        self.differs = {flight.id: said for flight in night if (said := _night_differs(flight))}
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

    def doubted(self, counts: tuple[str, ...]) -> set[str]:
        """The ids of flights with something against these times."""
        return self._doubted.union(*(self._doubted_of.get(name, ()) for name in counts))

    def suited(self, aircraft: str) -> frozenset[int] | None:
        """Which aircraft, by identity, are plainly of the sort wanted; None where all of them are."""
        if aircraft not in self._suited:
            suited = frozenset(
                craft
                for craft, flight in self.flown.crafts.items()
                if facts.suits(flight, aircraft, self.models)[0] is True
            )
            self._suited[aircraft] = None if len(suited) == len(self.flown.crafts) else suited
        return self._suited[aircraft]

    def landing(self, limit: int) -> dict[int, Share | None]:
        """The routes, by identity, that plainly have a landing more than so far from where they began: None.

        Those that plainly do not have a share that says so; any other, and one close to the limit, is not in.
        """
        if limit not in self._landing:
            found = self._landing[limit] = {}
            for route, flight in self.flown.routes.items():
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


def rows(record: Record, question: Question, wanted: Wanted, closer: Callable[[], Closer]) -> Rows:
    """What each flight in an aircraft gives.

    ``closer`` makes what looks at a flight that is not plain: what it finds says what is ``sure`` and
    ``possible``; None where the flight has nothing to do with what is wanted.
    """
    log = log_of(record, question)
    if wanted not in log.rows:
        log.rows[wanted] = _filled(log, wanted, closer())
    return log.rows[wanted]


def _filled(log: Log, wanted: Wanted, closer: Closer) -> Rows:
    """A row for each flight that logs all of the times; where one is not plain, after a closer look."""
    counts, purpose = wanted.counts, wanted.purpose
    rows: list[tuple[Flight, int, amounts.Amounts, Share | None]] = []
    doubted, suited = log.doubted(counts), log.suited(wanted.aircraft)
    landing = None if wanted.landing is None else log.landing(wanted.landing)
    known: dict[int, tuple[int, int, amounts.Amounts]] = {}  # by the times, which flights may share
    for flight in min((log.flown.logging[name] for name in counts), key=len):
        effort.check()
        if (found := known.get(id(flight.times))) is None:
            found = known[id(flight.times)] = _together(flight, counts)
        sure, most, gave = found
        share: Share | None = None
        if (
            sure == most > 0
            and flight.id not in doubted
            and (suited is None or id(flight.aircraft) in suited)
            and (not purpose or purpose in flight.purposes)
            and (landing is None or (flight.trip is None and id(flight.route) in landing))
        ):
            if landing is None or (share := landing[id(flight.route)]) is None:
                rows.append((flight, most, gave, None))
                continue
        elif (not most and "night" not in counts) or (share := closer(flight)) is None:
            continue
        rows.append((flight, share.sure, evidence(share.sure), share))
    return Rows(rows)


def evidence(gave: int) -> amounts.Amounts:
    return (amounts.time(gave),) if gave else ()


def _together(flight: Flight, counts: tuple[str, ...]) -> tuple[int, int, amounts.Amounts]:
    """How long a flight logs all of these times at once, for sure and at most, with the latter as evidence.

    Times overlap for sure only as far as they fill the entry.
    """
    given = [facts.logged(flight, name) or 0 for name in counts]
    most = min(given)
    whole = flight.times.get("total") or max(given)
    return min(most, sum(given) - (len(given) - 1) * whole), most, evidence(most)


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
