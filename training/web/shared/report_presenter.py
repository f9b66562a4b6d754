"""Reports in the words and shapes that a page shows. Nothing is decided here."""

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

#: What a milestone may depend on that belongs to one flight, and what to call it where nobody gave it.
OF_ONE_FLIGHT = {
    "route": gettext_noop("route"),
    "airport": gettext_noop("airport"),
    "area": gettext_noop("Class B area"),
}
#: The kind of requirement that is about a single flight whatever it is named for.
FLIGHT_BY_FLIGHT = "cross_country_endorsement"
#: As many reasons are read at a glance; more are folded away.
AT_A_GLANCE = 4


def nothing(remaining: Amounts) -> bool:
    """Whether all amounts are known and zero."""
    return bool(remaining) and not any(each.value for each in remaining)


def share(have: Amounts, need: Amounts) -> int | None:
    """How much of what is needed is there, in whole per cent and never rounded up to all of it.

    None where the two are not the same kind of thing, or of one none is needed. Of several parts the smallest
    share counts.
    """
    parts = shares(have, need) or [None]
    known = [each for each in parts if each is not None]
    if len(known) < len(parts):
        return None
    return int(min(Fraction(1), *known) * 100)


def holds(days: Days) -> list[str]:
    """The days on which something holds, a sentence fragment for each span."""
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
    """An answer with its mark and word, so that colour is never all there is."""

    name: str
    mark: str
    word: str

    @classmethod
    def of(cls, met: bool | None) -> "State":
        if met is None:
            return cls("open", "?", _("Unknown"))
        # "met", not "yes": the record fulfils the rule, and whether to fly is not for a page to say
        return cls("yes", "✓", _("Met")) if met else cls("no", "✗", _("Not met"))


@dataclass(frozen=True)
class RequirementShown:
    """One requirement of a milestone; ``provenance`` says who vouches for each entry, by its id."""

    finding: Finding
    on: dt.date
    provenance: Mapping[str, str] = field(default_factory=dict)
    reader: Reader = PAGE

    @property
    def counted(self) -> list[tuple[str, str, str]]:
        """The entries that count: id, what it gave, who vouches for it."""
        return [
            (entry, self.reader.gave(self.finding.rule, gave), self.vouched(entry))
            for entry, gave in self.finding.counted
        ]

    @property
    def not_counted(self) -> list[tuple[str, str, str]]:
        return [
            (entry, self.reader.words(why), self.vouched(entry)) for entry, why in self.finding.not_counted
        ]

    def vouched(self, entry: str) -> str:
        """Who vouches for an entry, in words; empty where the id is of no entry."""
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
        """How much of what is needed there is, exactly, where the words for people round it."""
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
        """Questions matter only where they could tip the answer."""
        asked = self.finding.ask if self.met is None else ()
        return [(entry, self.reader.words(missing)) for entry, missing in asked]

    @property
    def notes(self) -> list[str]:
        rule = self.finding.rule
        own = map(self.reader.words, self.finding.notes)
        return [note for note in (*own, rule.note, UNVERIFIED[rule.verified]) if note]

    @property
    def summary(self) -> str:
        """What unfolds below the requirement, in a few words."""
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
        """Whether what explains the answer is shown at once: where it is not yes, and not a long list."""
        return not self.met and len(self.finding.not_counted) <= AT_A_GLANCE

    @property
    def parts(self) -> "list[RequirementShown]":
        return [replace(self, finding=part) for part in self.finding.parts]


@dataclass(frozen=True)
class MilestoneShown:
    """One milestone in a line; with its requirements where the page lists them."""

    short: Short
    provenance: Mapping[str, str] = field(default_factory=dict)

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
        """What there is to say beside the state."""
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
        """What of one flight the milestone depends on and the question did not name."""
        context = self.report.question.context
        return [
            _(word)
            for key, word in OF_ONE_FLIGHT.items()
            if key in self.milestone.context and getattr(context, key) is None
        ]

    @property
    def gaps(self) -> list[Gap]:
        """What is missing, without what only a flight that nobody named would need."""
        return [gap for gap in self.short.gaps if not (self.not_given and _of_one_flight(gap.finding.rule))]

    @property
    def holds(self) -> list[str]:
        return holds(self.report.holds)

    @property
    def requirements(self) -> list[RequirementShown]:
        on = self.report.question.on
        return [RequirementShown(finding, on, self.provenance) for finding in self.report.findings]

    @property
    def met(self) -> list[RequirementShown]:
        return [each for each in self.requirements if each.met]

    @property
    def unmet(self) -> list[RequirementShown]:
        """What is not met or unknown; the page shows it first."""
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
    every: Iterable[Short | Refused], provenance: Mapping[str, str]
) -> list[MilestoneShown | RefusedShown]:
    """Each milestone in a line, whether it is answered or refused."""
    return [
        MilestoneShown(each, provenance) if isinstance(each, Short) else RefusedShown(each) for each in every
    ]
