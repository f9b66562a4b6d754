"""What was found for a requirement that one paper, test or endorsement satisfies, and how names compare."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from syllabus.engine.record.record import Entry
from syllabus.engine.rules import facts
from syllabus.engine.rules.facts import Fact
from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.reasons import Reason, reason, several
from syllabus.engine.rules.rulebook import Path, Requirement, RuleVersion
from syllabus.engine.time.amounts import Thing, count
from syllabus.engine.time.days import Days

ONE_DAY = timedelta(days=1)
CONTEXT, STUDENT = "context", "student"


@dataclass
class Evidence:
    """What was found. Entries are those of a record, or the words for the student and the context."""

    thing: Thing
    question: Question
    holds: list[Days] = field(default_factory=list)
    possible: list[Days] = field(default_factory=list)
    counted: list[tuple[str, Reason, Days]] = field(default_factory=list)
    not_counted: list[tuple[str, Reason]] = field(default_factory=list)
    ask: list[tuple[str, Reason, Days]] = field(default_factory=list)
    notes: list[Reason] = field(default_factory=list)

    def yes(self, entry: Entry | str, days: Days, gave: Reason) -> None:
        """It counts on these days; where the school asks who vouches for a claimed entry, a question."""
        if claim := facts.unvouched(entry, self.question.settings):
            self.maybe(entry, days, claim)
            return
        self.holds.append(days)
        self.counted.append((_id(entry), gave, days))

    def maybe(self, entry: Entry | str, days: Days, missing: Reason) -> None:
        self.possible.append(days)
        self.ask.append((_id(entry), missing, days))

    def no(self, entry: Entry | str, why: Reason) -> None:
        self.not_counted.append((_id(entry), why))

    def finding(self, rule: RuleVersion) -> Finding:
        """A finding: one such thing is needed, and there is one on the days on which any of them holds."""
        on = self.question.on
        holds = Days.union(self.holds) & rule.in_force
        possible = holds | (Days.union(self.possible) & rule.in_force)
        held = on in holds
        spent = [
            (entry, reason("entry.not-on-day", gave=gave, day=on))
            for entry, gave, days in self.counted
            if on not in days
        ]
        return Finding(
            rule=rule,
            holds=holds,
            possible=possible,
            have=(count(int(held), self.thing),),
            need=(count(1, self.thing),),
            remaining=(count(int(not held), self.thing),),
            counted=tuple((entry, gave) for entry, gave, days in self.counted if on in days),
            not_counted=tuple(spent + self.not_counted),
            ask=tuple((entry, missing) for entry, missing, days in self.ask if on in days),
            notes=tuple(self.notes),
        )


def _id(entry: Entry | str) -> str:
    return entry if isinstance(entry, str) else entry.id


def not_needed(rule: RuleVersion, thing: Thing, note: Reason) -> Finding:
    """The finding of a requirement that asks for nothing here, with the reason."""
    nothing = (count(0, thing),)
    return Finding(rule, rule.in_force, rule.in_force, nothing, nothing, nothing, notes=(note,))


def waived(requirement: Requirement, way: Path, on: date) -> Finding:
    """The finding of a requirement that the way taken does not ask for, under any of its versions."""
    rule = requirement.on(on)
    why = reason("needed.not-here", way=way.says, citation=way.cite.section)
    found = not_needed(rule, "requirement", why)
    days = Days.union(version.in_force for version in requirement.versions)
    return replace(found, holds=days, possible=days)


def until(last: date | None) -> Reason:
    return reason("holds.through", day=last) if last else reason("holds.no-end")


def shortened(last: date | None, expires: date | None) -> date | None:
    """The earlier of the rule's own end and the one written on the paper, which never lengthens."""
    ends = [end for end in (last, expires) if end is not None]
    return min(ends) if ends else None


@dataclass
class Names:
    """What an entry names, compared with what is asked about: one difference decides, then what is missing.

    ``asked`` are questions by the entry they are put to: the entry itself, or the context.
    """

    entry: Entry
    question: Question
    wrong: list[Reason] = field(default_factory=list)
    asked: list[tuple[Entry | str, Reason]] = field(default_factory=list)

    def model(self, given: str | None) -> None:
        """The make and model, through the school's links between spellings."""
        wanted = self.question.context.aircraft_model
        if wanted is None:
            self.asked.append((CONTEXT, reason("context.aircraft-model")))
        elif given is None:
            self.asked.append((self.entry, reason("named.aircraft-model")))
        else:
            same = self.question.models.same(given, wanted)
            if same is False:
                self._other(given, wanted)
            elif same is None:
                self.asked.append((self.entry, reason("model.same-unknown", given=given, wanted=wanted)))

    def word(self, given: str | None, wanted: str | None, key: str) -> None:
        """A word that must be the one asked about."""
        if wanted is None:
            self.asked.append((CONTEXT, reason(f"context.{key}")))
        elif given is None:
            self.asked.append((self.entry, reason(f"named.{key}")))
        else:
            self.given_word(given, wanted)

    def given_word(self, given: str | None, wanted: str) -> None:
        """A word that must be the one wanted where it is given at all."""
        if given is not None and facts.same(given) != facts.same(wanted):
            self._other(given, wanted)

    def _other(self, given: str, wanted: str) -> None:
        self.wrong.append(reason("named.other", given=given, wanted=wanted))

    def answer(self, answer: Fact) -> None:
        met, why = answer
        if met is False:
            self.wrong.append(why)
        elif met is None:
            self.asked.append((self.entry, why))

    def settle(self, found: Evidence, days: Days, gave: Reason, possible: Days | None = None) -> None:
        """Count the entry, ask, or leave it out. ``possible`` are more days, on which a question is open."""
        if self.wrong:
            found.no(self.entry, several(self.wrong))
        elif self.asked:
            for entry, missing in self.asked:
                found.maybe(entry, possible or days, missing)
        else:
            found.yes(self.entry, days, gave)
