"""Presents reports for pages. It decides nothing."""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.report import UNVERIFIED, Report
from syllabus.engine.rules.rulebook import Milestone, RuleVersion
from syllabus.engine.time.amounts import Amounts, count, shares
from syllabus.engine.time.days import Days
from training.presenters import amounts
from training.presenters.days import day as day
from training.presenters.entry import vouched
from training.presenters.reasons import PAGE, Reader
from training.reports import Gap, Refused, Short

#: The parts of a question that belong to one flight, with their names where they are missing.
OF_ONE_FLIGHT = {
    "route": gettext_noop("route"),
    "airport": gettext_noop("airport"),
    "area": gettext_noop("Class B area"),
}
#: The kind of requirement that concerns one flight.
FLIGHT_BY_FLIGHT = "cross_country_endorsement"
#: At most so many reasons are shown at once; more are folded.
AT_A_GLANCE = 4


def nothing(remaining: Amounts) -> bool:
    """Whether all amounts are known and zero."""
    return bool(remaining) and not any(each.value for each in remaining)


def share(have: Amounts, need: Amounts) -> int | None:
    """The share of the needed amount on record, in whole percent, rounded down.

    None if the two have different units or nothing is needed. Of several parts the smallest share counts.
    """
    parts = shares(have, need) or [None]
    known = [each for each in parts if each is not None]
    if len(known) < len(parts):
        return None
    return int(min(Fraction(1), *known) * 100)


def holds(days: Days) -> list[str]:
    """The days on which something is valid, as a phrase for each span."""
    if days == Days.all():
        return [_("always")]
    return [_span(first, last) for first, last in days] or [_("on no day yet")]


def _span(first: dt.date | None, last: dt.date | None) -> str:
    if first is None:
        return _("until %(day)s") % {"day": day(last)}
    if last is None:
        return _("from %(day)s on") % {"day": day(first)}
    if first == last:
        return _("on %(day)s") % {"day": day(first)}
    return _("%(first)s to %(last)s") % {"first": day(first), "last": day(last)}


def _of_one_flight(rule: RuleVersion) -> bool:
    return rule.kind == FLIGHT_BY_FLIGHT or bool({"airport", "area"} & {*(rule.get("names") or ())})


@dataclass(frozen=True)
class State:
    """An answer with a mark and a word, so that color is never the only sign."""

    name: str
    mark: str
    word: str

    @classmethod
    def of(cls, met: bool | None) -> "State":
        if met is None:
            return cls("open", "?", _("Unknown"))
        # "met", not "yes": the record meets the rule; whether to fly is not for a page to say
        return cls("yes", "✓", _("Met")) if met else cls("no", "✗", _("Not met"))


@dataclass(frozen=True)
class RequirementShown:
    """One requirement of a milestone; ``provenance`` has each entry's, by id, and ``reader`` its name."""

    finding: Finding
    on: dt.date
    provenance: Mapping[str, str] = field(default_factory=dict)
    reader: Reader = PAGE

    @property
    def counted(self) -> list[tuple[str, str, str]]:
        """The entries that count: name, amount, provenance."""
        return [
            (self.reader.named(entry), self.reader.gave(self.finding.rule, gave), self.vouched(entry))
            for entry, gave in self.finding.counted
        ]

    @property
    def not_counted(self) -> list[tuple[str, str, str]]:
        return [
            (self.reader.named(entry), self.reader.words(why), self.vouched(entry))
            for entry, why in self.finding.not_counted
        ]

    def vouched(self, entry: str) -> str:
        """The provenance of an entry in words; empty if the id is not an entry's."""
        return vouched(self.provenance.get(entry, ""))

    @property
    def state(self) -> State:
        return State.of(self.finding.met(self.on))

    @property
    def met(self) -> bool | None:
        return self.finding.met(self.on)

    @property
    def have(self) -> str:
        return amounts.have(self.finding.have)

    @property
    def need(self) -> str:
        return amounts.need(self.finding.need)

    @property
    def remaining(self) -> str:
        remaining = self.finding.remaining
        return _("nothing") if nothing(remaining) else amounts.remaining(remaining)

    @property
    def exact(self) -> str:
        """The exact amounts, where the words round them."""
        return amounts.exact(self.finding.have, self.finding.need)

    @property
    def exact_have(self) -> str:
        return amounts.exact(self.finding.have)

    @property
    def exact_need(self) -> str:
        return amounts.exact(self.finding.need)

    @property
    def exact_remaining(self) -> str:
        return amounts.exact(self.finding.remaining)

    @property
    def share(self) -> int | None:
        return share(self.finding.have, self.finding.need)

    @property
    def holds(self) -> list[str]:
        return holds(self.finding.holds)

    @property
    def ask(self) -> list[tuple[str, str]]:
        """Show questions only if they could change the answer."""
        asked = self.finding.ask if self.met is None else ()
        return [(self.reader.named(entry), self.reader.words(missing)) for entry, missing in asked]

    @property
    def notes(self) -> list[str]:
        rule = self.finding.rule
        own = map(self.reader.words, self.finding.notes)
        return [note for note in (*own, rule.note, UNVERIFIED[rule.verified]) if note]

    @property
    def summary(self) -> str:
        """The heading of the folded details."""
        told = []
        if self.parts:
            told.append(amounts.have((count(len(self.parts), "requirement"),)))
        if number := len(self.finding.counted):
            told.append(ngettext("%d entry counts", "%d entries count", number) % number)
        if number := len(self.finding.not_counted):
            told.append(
                ngettext("%d does not count", "%d do not count", number) % number
                if told
                else ngettext("%d entry does not count", "%d entries do not count", number) % number
            )
        if self.notes:
            told.append(ngettext("a note", "notes", len(self.notes)))
        return ", ".join(told)

    @property
    def unfolded(self) -> bool:
        """Whether the details are open at first: if the answer is not yes, and they are short."""
        return not self.met and len(self.finding.not_counted) <= AT_A_GLANCE

    @property
    def parts(self) -> "list[RequirementShown]":
        return [replace(self, finding=part) for part in self.finding.parts]


@dataclass(frozen=True)
class MilestoneShown:
    """One milestone in a line, with its requirements if the page lists them."""

    short: Short
    provenance: Mapping[str, str] = field(default_factory=dict)
    reader: Reader = PAGE

    @property
    def report(self) -> Report:
        return self.short.report

    @property
    def milestone(self) -> Milestone:
        return self.report.milestone

    @property
    def anchor(self) -> str:
        return self.milestone.id.replace(".", "-")

    @property
    def state(self) -> State:
        return State.of(self.report.met)

    @property
    def line(self) -> str:
        """The text beside the state."""
        report = self.report
        if report.eligible:
            until = report.eligible_until
            return _("until %(day)s") % {"day": day(until)} if until else _("with no end date")
        number = len(self.short.gaps)
        if self.not_given and not self.gaps:
            return _("Everything else is met. Enter to check: %(what)s") % {"what": ", ".join(self.not_given)}
        missing = (
            ngettext("%d missing", "%d missing", number)
            if report.met is False
            else ngettext("%d unknown", "%d unknown", number)
        ) % number
        if report.eligible_from:
            since = {"missing": missing, "day": day(report.eligible_from)}
            return _("%(missing)s; from %(day)s with nothing more recorded") % since
        return missing

    @property
    def not_given(self) -> list[str]:
        """The facts about one flight that the milestone depends on and the question left out."""
        context = self.report.question.context
        return [
            _(word)
            for key, word in OF_ONE_FLIGHT.items()
            if key in self.milestone.context and getattr(context, key) is None
        ]

    @property
    def gaps(self) -> list[Gap]:
        """The gaps, without those that only a flight not named in the question would have."""
        return [gap for gap in self.short.gaps if not (self.not_given and _of_one_flight(gap.finding.rule))]

    @property
    def holds(self) -> list[str]:
        return holds(self.report.holds)

    @property
    def requirements(self) -> list[RequirementShown]:
        on = self.report.question.on
        return [
            RequirementShown(finding, on, self.provenance, self.reader) for finding in self.report.findings
        ]

    @property
    def met(self) -> list[RequirementShown]:
        return [each for each in self.requirements if each.met]

    @property
    def unmet(self) -> list[RequirementShown]:
        """The requirements that are not met or unknown; the page shows them first."""
        return [each for each in self.requirements if not each.met]


@dataclass(frozen=True)
class RefusedShown:
    """A milestone that the rules do not cover here, in a line."""

    refused: Refused

    @property
    def milestone(self) -> Milestone:
        return self.refused.milestone

    @property
    def anchor(self) -> str:
        return self.milestone.id.replace(".", "-")

    @property
    def state(self) -> State:
        return State("none", "–", _("Not covered"))

    @property
    def line(self) -> str:
        return PAGE.words(self.refused.refusal.reason)


def in_short(
    every: Iterable[Short | Refused], provenance: Mapping[str, str], reader: Reader = PAGE
) -> list[MilestoneShown | RefusedShown]:
    """Each milestone in a line, whether it has an answer or is not covered."""
    return [
        MilestoneShown(each, provenance, reader) if isinstance(each, Short) else RefusedShown(each)
        for each in every
    ]
