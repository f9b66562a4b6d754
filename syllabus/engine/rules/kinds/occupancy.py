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
        self.log = logged.log_of(record, question)
        self.suited = self.log.suited(rule.get("aircraft") or facts.ANY)
        self.conflicts = conflicts.conflicts(record, question)
        self.occupancy, self.night = rule.params["occupancy"], rule.get("period") == "night"

    def flown(self, flight: Flight) -> bool:
        """Whether a flight of this occupancy is one of them."""
        return (
            (self.suited is None or id(flight.aircraft) in self.suited)
            and flight.aircraft.device is None
            and flight.id not in self.conflicts
            and (self.occupancy == SOLO or self.log.taught[id(flight.instructor)])
            and self.log.on_route(flight)
            and not (
                self.night and any(conflicts.night_landing_conflict(flight, each) for each in flight.landings)
            )
        )
