"""The eligibility report as a person reads it on a terminal: plain text, no wider than asked.

It renders what the report says and decides nothing. A state stands in words and as a sign, so that neither
colour nor font is needed; entries that do not count for one reason stand in one line; words of caution that
belong to many requirements stand once, at the end.
"""

from __future__ import annotations

import gettext
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from functools import cached_property

from syllabus.engine.errors import NotCovered
from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.report import CAUTION, UNVERIFIED, Report
from syllabus.engine.time.amounts import THINGS, shares
from training.management.plain_text import GLUE, cells, clean, filled, joined, padded, wrapped
from training.presenters import amounts
from training.presenters.grouped import FEW, grouped
from training.presenters.reasons import Reader

NARROWEST = 60
SIGNS = {True: "✓", False: "✗", None: "?"}
STATES = {True: "met", False: "not met", None: "unknown"}
ANSWERS = {True: "eligible", False: "not", None: "unknown"}
#: How a version that was not read itself is marked beside its citation; the legend says it in words.
MARKS = {"read": "", "second-hand": "[2nd]", "memory": "[memory]"}
BAR, FULL, EMPTY = 10, "█", "░"
NOTHING, NO_END = "–", "no end"
#: Lines of reasons for a requirement that is met and one that is not.
REASONS_MET, REASONS_UNMET = 2, 8
_STATE = 10  # columns of "✗ not met "
_LABEL = 13  # columns of "not counted  "

#: The command goes around the settings, and with them around translation.
_AS_WRITTEN = gettext.NullTranslations()
ENGLISH = _AS_WRITTEN.ngettext
#: On a terminal a day, an entry and an item are as the record document writes them.
READER = Reader(_AS_WRITTEN.gettext, ENGLISH, day=str, clock="{:%H:%M}".format, named=str)

Paint = Callable[[bool | None, str], str]


def unpainted(_state: bool | None, text: str) -> str:
    return text


def render(report: Report, width: int = 100, paint: Paint = unpainted) -> str:
    """One milestone's report: summary, a row for each requirement, legend and caution.

    Shapes: ``width`` in columns of a terminal, 60 or more; ``paint`` colours a text by its state and must not
            change how wide it is.
    """
    return "\n".join(_Sheet(report, max(width, NARROWEST), paint).lines())


def render_all(
    reports: Sequence[Report],
    width: int = 100,
    paint: Paint = unpainted,
    refused: Sequence[NotCovered] = (),
) -> str:
    """Every milestone in a line: the answer, how much is missing, from and until when, and the first gap.

    ``refused`` are those that the rules do not cover, named below the others.
    """
    return "\n".join(_overview(reports, max(width, NARROWEST), paint, refused))


# Words


def progress(finding: Finding, met: bool | None) -> Fraction:
    """How far along, 0 to 1: the mean where several amounts are needed; 1 only where it is met."""
    if met:
        return Fraction(1)
    done = shares(finding.have, finding.need)
    if not done:
        return Fraction(0)
    parts = [Fraction(1) if share is None else min(Fraction(1), share) for share in done]
    return sum(parts, Fraction(0)) / len(parts)


def _quantities(finding: Finding) -> list[str]:
    """What there is, what is needed and what is left, in words."""
    return [
        amounts.have(finding.have, ENGLISH),
        amounts.need(finding.need, ENGLISH),
        amounts.remaining(finding.remaining, ENGLISH),
    ]


def bar(finding: Finding, met: bool | None) -> str:
    """Ten cells; the last one fills only where the requirement is met."""
    done = BAR if met else min(int(progress(finding, met) * BAR), BAR - 1)
    return FULL * done + EMPTY * (BAR - done)


def lapse(finding: Finding, on: date) -> str:
    """Until when it holds; else from when it will with nothing more recorded, or when it ended."""
    met = finding.met(on)
    if span := finding.holds.from_day(on):
        if met:
            return str(span[1]) if span[1] else NO_END
        return f"from {span[0]}"
    if met is False:
        ended = [last for _, last in finding.holds if last is not None and last < on]
        if ended:
            return f"ended {ended[-1]}"
    return ""


def named(entries: Sequence[str]) -> str:
    """``f3, f7, f9 and 12 more``."""
    if len(entries) <= FEW + 1:
        return ", ".join(entries)
    return f"{', '.join(entries[:FEW])} and {len(entries) - FEW} more"


# One milestone


@dataclass
class _Sheet:
    report: Report
    width: int
    paint: Paint
    footnotes: list[str] = field(default_factory=list)
    marks: dict[str, None] = field(default_factory=dict)

    @property
    def on(self) -> date:
        return self.report.question.on

    def lines(self) -> Iterator[str]:
        yield from self.heading()
        yield ""
        yield from self.summary()
        yield ""
        yield from self.header()
        for finding in self.report.findings:
            yield from self.row(finding, 0)
        yield "─" * self.width
        yield from self.legend()

    def heading(self) -> Iterator[str]:
        milestone, question = self.report.milestone, self.report.question
        yield from wrapped(f"{milestone.title} ({milestone.id}) on {question.on}", self.width)
        yield from wrapped(f"{milestone.says}.", self.width)
        asked = [
            f"{key.replace('_', ' ')} {_shown(value)}" for key, value in question.context.as_json().items()
        ]
        if self.report.known_at:
            asked.append(f"as known at {self.report.known_at.isoformat()}")
        if asked:
            yield from wrapped(f"For: {'; '.join(asked)}.", self.width, rest="  ")

    def summary(self) -> Iterator[str]:
        report, met = self.report, self.report.met
        leaves = [finding.met(self.on) for finding in report.leaves()]
        tally = [f"{leaves.count(True)} of {len(leaves)} requirements met"]
        for state, words in ((False, "not met"), (None, "unknown")):
            if leaves.count(state):
                tally.append(f"{leaves.count(state)} {words}")
        sign = SIGNS[met]
        answer = {True: "ELIGIBLE", False: "NOT ELIGIBLE", None: "NOT KNOWN"}[met]
        first, *others = wrapped(f"{sign} {answer} on {self.on}: {joined(tally)}.", self.width, rest="  ")
        head = f"{sign} {answer}"
        yield self.paint(met, head) + first[len(head) :]
        yield from others
        if met is None:
            yield from filled(
                "A missing fact could tip it; see below what is missing.", self.width, first="  ", rest="  "
            )
        yield from filled(self.span(), self.width, first="  ", rest="  ")
        if lapses := report.first_to_lapse():
            finding, last = lapses
            text = f"First to expire: {self.short(finding)}, on {last} ({finding.rule.cite.section})."
            yield from filled(text, self.width, first="  ", rest="    ")
        left = [
            f"{self.short(finding)} {self.left(finding)}".replace(" ", GLUE) for finding in report.unmet()
        ]
        if left:
            yield from filled(f"Remaining: {'; '.join(left)}.", self.width, first="  ", rest="    ")

    def span(self) -> str:
        first, last = self.report.eligible_from, self.report.eligible_until
        until = f"through {last}" if last else "with no end date"
        if self.report.eligible:
            return f"With nothing more recorded it stays so {until}."
        if first:
            return f"With nothing more recorded: from {first}, {until}."
        return "With nothing more recorded: on no later day."

    def left(self, finding: Finding) -> str:
        if finding.met(self.on) is None:
            return "(a question)"
        return amounts.remaining(finding.remaining, ENGLISH)

    def short(self, finding: Finding) -> str:
        """The requirement's name: its id without the milestone asked about, or without the authority."""
        own = f"{self.report.milestone.id}."
        name = finding.rule.id
        return name.removeprefix(own) if name.startswith(own) else name.split(".", 1)[-1]

    def header(self) -> Iterator[str]:
        left, right = padded("  state", _STATE) + "requirement", "citation"
        yield left + right.rjust(self.width - cells(left))
        if self.columns:
            heads = ["progress", "have", "need", "remaining", "valid through"]
            yield (" " * _STATE + self.across(heads)).rstrip()
        yield "─" * self.width

    def facing(self, left: str, right: str, rest: str = "") -> Iterator[str]:
        """``left`` wrapped, with ``right`` at the right edge of its last line or of one more."""
        lines = list(filled(left, self.width, rest=rest))
        gap = self.width - cells(lines[-1]) - cells(right)
        if right and gap < 2:
            lines += filled(right, self.width, first=rest, rest=rest)
            lines[-1] = " " * (self.width - cells(lines[-1])) + lines[-1]
        elif right:
            lines[-1] += " " * gap + right
        yield from lines

    # rows

    @cached_property
    def columns(self) -> list[int] | None:
        """Widths of progress, have, need and left; None where the amounts do not fit side by side."""
        widest = max(
            (
                cells(part)
                for finding in self._all(self.report.findings)
                for words in _quantities(finding)
                for part in words.split(", ")
            ),
            default=0,
        )
        each = max(widest, len("have")) + 3
        deepest = max((depth for depth, _ in self._deep(self.report.findings)), default=0)
        room = self.width - _STATE - 2 * deepest - BAR - 2 - 3 * each - len("ended 2026-11-20")
        return [BAR + 2, each, each, each] if room >= 0 else None

    def _all(self, findings: Iterable[Finding]) -> Iterator[Finding]:
        for _, finding in self._deep(findings):
            yield finding

    def _deep(self, findings: Iterable[Finding], depth: int = 0) -> Iterator[tuple[int, Finding]]:
        for finding in findings:
            yield depth, finding
            yield from self._deep(finding.parts, depth + 1)

    def across(self, values: Sequence[str]) -> str:
        widths = self.columns or []
        return "".join(padded(value, width) for value, width in zip(values, widths, strict=False)) + (
            values[-1] if len(values) > len(widths) else ""
        )

    def row(self, finding: Finding, depth: int) -> Iterator[str]:
        met, rule = finding.met(self.on), finding.rule
        indent = " " * (_STATE + 2 * depth)
        state = padded(f"{SIGNS[met]} {STATES[met]}", _STATE)
        name = rule.id.rsplit(".", 1)[-1]
        body = list(self.facing(f"{indent}{name}: {rule.says}", self.citation(finding), indent))
        yield self.paint(met, state) + body[0][_STATE:]
        yield from body[1:]
        yield from self.amounts(finding, met, indent)
        for label, text in self.said(finding, met):
            yield from filled(
                text, self.width, first=indent + padded(label, _LABEL), rest=indent + " " * _LABEL
            )
        for part in finding.parts:
            yield from self.row(part, depth + 1)

    def citation(self, finding: Finding) -> str:
        rule = finding.rule
        shown = [rule.cite.section]
        if mark := MARKS[rule.verified]:
            self.marks[rule.verified] = None
            shown.append(mark)
        if rule.note:
            if rule.note not in self.footnotes:
                self.footnotes.append(rule.note)
            shown.append(f"[{self.footnotes.index(rule.note) + 1}]")
        return " ".join(shown)

    def amounts(self, finding: Finding, met: bool | None, indent: str) -> Iterator[str]:
        drawn, until = self.paint(met, bar(finding, met)), lapse(finding, self.on)
        quantities = _quantities(finding)
        if met:
            quantities[2] = NOTHING
        if self.columns is None:
            told = [
                f"{name} {value}".replace(" ", GLUE)
                for name, value in zip(("have", "need", "remaining"), quantities, strict=True)
                if value != NOTHING
            ]
            if until:
                told.append(
                    (f"valid through {until}" if met and until != NO_END else until).replace(" ", GLUE)
                )
            first, *others = wrapped(" · ".join(told), self.width - len(indent) - BAR - 2)
            yield f"{indent}{drawn}  {first}"
            yield from (" " * (len(indent) + BAR + 2) + each for each in others)
            return
        stacked = [value.split(", ") for value in quantities]
        for line in range(max(map(len, stacked))):
            shown = [
                parts[line] + ("," if line + 1 < len(parts) else "") if line < len(parts) else ""
                for parts in stacked
            ]
            head = drawn + "  " if line == 0 else " " * (BAR + 2)
            widths = self.columns[1:]
            cellsin = "".join(padded(value, width) for value, width in zip(shown, widths, strict=True))
            yield (indent + head + cellsin + (until if line == 0 else "")).rstrip()

    def said(self, finding: Finding, met: bool | None) -> Iterator[tuple[str, str]]:
        """What stands below a row, as label and text."""
        if finding.counted:
            shown = [
                f"{clean(entry)} ({clean(READER.gave(finding.rule, gave))})"
                for entry, gave in finding.counted
            ]
            yield "counts", named(shown)
        groups = grouped(finding.not_counted, READER)
        most = REASONS_MET if met else REASONS_UNMET
        yield from self.listed("not counted", groups[:most])
        if rest := sum(len(entries) for entries, _ in groups[most:]):
            yield "", f"and {rest} more {'entries' if rest > 1 else 'entry'}, for other reasons"
        if met is None and not finding.parts:  # the parts say it themselves
            yield from self.listed("missing", grouped(finding.ask, READER))
        for index, note in enumerate(finding.notes):
            yield "" if index else "note", clean(READER.words(note))

    def listed(self, label: str, groups: list[tuple[list[str], str]]) -> Iterator[tuple[str, str]]:
        for index, (entries, words) in enumerate(groups):
            yield "" if index else label, f"{named([clean(each) for each in entries])}: {clean(words)}"

    def legend(self) -> Iterator[str]:
        for verified in UNVERIFIED:
            if verified in self.marks:
                yield from filled(
                    UNVERIFIED[verified], self.width, first=padded(MARKS[verified], 9), rest=" " * 9
                )
        for number, note in enumerate(self.footnotes, start=1):
            yield from filled(note, self.width, first=padded(f"[{number}]", 9), rest=" " * 9)
        yield from wrapped(f"Rules: {self.report.rulebook[:19]}…", self.width)
        yield from wrapped(CAUTION, self.width)


def _shown(value: object) -> str:
    if isinstance(value, list):
        return "-".join(_shown(each) for each in value)
    if isinstance(value, dict):
        return clean(str(value.get("name") or value))
    return clean(str(value))


# Every milestone

_WIDTHS = (2, 27, 9, 9, 9, 11, 11)


def _overview(
    reports: Sequence[Report], width: int, paint: Paint, refused: Sequence[NotCovered]
) -> Iterator[str]:
    fits = width >= sum(_WIDTHS) + 20
    if fits:
        heads = ("", "milestone", "answer", "missing", "unknown", "from", "until")
        yield "".join(padded(head, each) for head, each in zip(heads, _WIDTHS, strict=True)) + "first gap"
        yield "─" * width
    for report in reports:
        met, answers = report.met, [finding.met(report.question.on) for finding in report.leaves()]
        missing = [f"{answers.count(False)} of {len(answers)}", f"{answers.count(None)} of {len(answers)}"]
        first = str(report.eligible_from or "no day")
        until = str(report.eligible_until or "no end") if report.eligible_from else ""
        gap = _first_gap(report)
        if fits:
            told = [report.milestone.id, ANSWERS[met], *missing, first, until]
            start = "".join(padded(each, wide) for each, wide in zip(told, _WIDTHS[1:], strict=True))
            gaps = wrapped(gap, width - sum(_WIDTHS))
            yield (paint(met, padded(SIGNS[met], _WIDTHS[0])) + start + gaps[0]).rstrip()
            yield from (" " * sum(_WIDTHS) + each for each in gaps[1:])
        else:
            yield f"{paint(met, SIGNS[met])} {report.milestone.id}: {ANSWERS[met]}"
            told = [f"missing {missing[0]}, unknown {missing[1]}"]
            told.append(f"from {first} until {until}" if until else "on no day as it stands")
            if gap:
                told.append(f"first gap {gap}")
            yield from filled("; ".join(told), width, first="    ", rest="      ")
    for each in refused:
        said = f"– {each.milestone}: not covered by these rules: {clean(str(each))}"
        yield from filled(said, width, rest="  ")
    yield "─" * width
    if reports:
        yield from wrapped(f"On {reports[0].question.on}. Rules: {reports[0].rulebook[:19]}…", width)
    yield from wrapped(CAUTION, width)


def _first_gap(report: Report) -> str:
    """The first requirement that is not met, else the first that is not known."""
    unmet = report.unmet()
    for finding in [each for each in unmet if each.met(report.question.on) is False] or unmet:
        name = finding.rule.id.rsplit(".", 1)[-1]
        if finding.met(report.question.on) is None:
            return f"{name} (?)"
        alone = [each.value for each in finding.need if each.unit in THINGS] == [1]
        return name if alone else f"{name} {amounts.remaining(finding.remaining, ENGLISH)}"
    return ""
