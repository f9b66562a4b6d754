"""How a flight was flown: dual or solo, and whether only its landings leave anything open."""

from __future__ import annotations

from syllabus.engine.record.record import Flight, Record
from syllabus.engine.rules import conflicts, facts, logged
from syllabus.engine.rules.facts import YES, Fact
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.reasons import reason
from syllabus.engine.rules.rulebook import RuleVersion

DUAL, SOLO = "dual", "solo"


def occupied(flight: Flight, how: str) -> Fact:
    """Whether the entry is dual with an instructor named, or solo."""
    if not flight.times.get(how):
        return False, reason(f"flight.no-{how}")
    if how == DUAL:
        return facts.taught(flight)
    return YES


class Plainly:
    """Which flights leave nothing open but what their takeoffs and landings are."""

    def __init__(self, rule: RuleVersion, record: Record, question: Question):
        self.suited = logged.log_of(record, question).suited(rule.get("aircraft") or facts.ANY)
        self.conflicts = conflicts.conflicts(record, question)
        self.occupancy, self.night = rule.params["occupancy"], rule.get("period") == "night"
        self.on_route: dict[tuple[int, int], bool] = {}

    def flown(self, flight: Flight) -> bool:
        where = id(flight.route), id(flight.landings)
        if where not in self.on_route:
            self.on_route[where] = not any(
                conflicts.landing_conflict(flight, each) for each in flight.landings
            )
        return (
            self.on_route[where]
            and id(flight.aircraft) in self.suited
            and not flight.aircraft.device
            and flight.id not in self.conflicts
            and occupied(flight, self.occupancy)[0] is True
            and not (
                self.night and any(conflicts.night_landing_conflict(flight, each) for each in flight.landings)
            )
        )
