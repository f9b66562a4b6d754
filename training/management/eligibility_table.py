"""The eligibility report as a person reads it on a terminal: plain text, no wider than asked.

It renders what the report says and decides nothing. A state stands in words and as a sign, so that neither
color nor font is needed; entries that do not count for one reason stand in one line; words of caution that
belong to many requirements stand once, at the end.
"""

import gettext
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from io import StringIO

from rich import box
from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.reasons import NotCovered
from syllabus.engine.rules.report import CAUTION, UNVERIFIED, Report
from syllabus.engine.time.amounts import THINGS, shares
from training.management.plain_text import clean, joined
from training.presenters import amounts
from training.presenters.grouped import FEW, grouped
from training.presenters.reasons import Reader

NARROWEST = 60
SIGNS = {True: "✓", False: "✗", None: "?"}
STATES = {True: "met", False: "not met", None: "unknown"}
ANSWERS = {True: "eligible", False: "not", None: "unknown"}
STYLES = {True: "green", False: "red", None: "yellow"}
#: How a version that was not read itself is marked beside its citation; the legend says it in words.
MARKS = {"read": "", "second-hand": "[2nd]", "memory": "[memory]"}
BAR, FULL, EMPTY = 10, "█", "░"
NOTHING, NO_END = "–", "no end"
#: Lines of reasons for a requirement that is met and one that is not.
REASONS_MET, REASONS_UNMET = 2, 8

#: The command goes around the settings, and with them around translation.
_AS_WRITTEN = gettext.NullTranslations()
ENGLISH = _AS_WRITTEN.ngettext
#: On a terminal a day, an entry and an item are as the record document writes them.
READER = Reader(_AS_WRITTEN.gettext, ENGLISH, day=str, clock="{:%H:%M}".format, named=str)


def render(report: Report, width: int = 100, *, color: bool = False) -> str:
    """One milestone's report: summary, a row for each requirement, legend and caution.

    Shapes: ``width`` in columns of a terminal, 60 or more.
    """
    return _printed(_Sheet(report).blocks(), width, color)


def render_all(
    reports: Sequence[Report], width: int = 100, refused: Sequence[NotCovered] = (), *, color: bool = False
) -> str:
    """Every milestone in a row: the answer, how much is missing, from and until when, and the first gap.

    ``refused`` are those that the rules do not cover, named below the others.
    """
    return _printed(_overview(reports, refused), width, color)


def _printed(blocks: Iterable[RenderableType], width: int, color: bool) -> str:
    console = Console(
        file=StringIO(), width=max(width, NARROWEST), color_system="standard" if color else None,
        force_terminal=color, legacy_windows=False, markup=False, highlight=False, emoji=False,
    )  # fmt: skip
    with console.capture() as captured:
        console.print(*blocks, sep="\n")
    return "\n".join(line.rstrip() for line in captured.get().rstrip("\n").split("\n"))


def _table(*heads: RenderableType) -> Table:
    """A table over the whole width whose first column has a state."""
    made = Table(
        box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=0, expand=True, header_style=""
    )
    made.add_column("  state", width=10)
    for head in heads:
        made.add_column(head, overflow="fold")  # nothing of a record is cut off
    return made


def _grid(*ratios: int, first: int) -> Table:
    """Columns without lines; the first as wide as that, the others by their share of the rest."""
    made = Table.grid(padding=(0, 1, 0, 0), expand=True)
    made.add_column(width=first)
    for ratio in ratios:
        made.add_column(ratio=ratio, overflow="fold")
    return made


def _labelled(rows: Iterable[tuple[str, str]], width: int) -> Table:
    made = _grid(1, first=width)
    for row in rows:
        made.add_row(*row)
    return made


def _across(*values: RenderableType) -> Table:
    """Progress, have, need, remaining and until when, side by side."""
    made = _grid(3, 3, 3, 4, first=BAR)
    made.add_row(*values)
    return made


# Words


def _quantities(finding: Finding) -> list[str]:
    """What there is, what is needed and what is left, in words."""
    return [
        amounts.have(finding.have, ENGLISH),
        amounts.need(finding.need, ENGLISH),
        amounts.remaining(finding.remaining, ENGLISH),
    ]


def bar(finding: Finding, met: bool | None) -> str:
    """Ten cells, the mean of several amounts; the last one fills only where the requirement is met."""
    done_of = shares(finding.have, finding.need) or []
    parts = [1 if share is None else min(Fraction(1), share) for share in done_of]
    done = BAR if met else min(int(Fraction(sum(parts), max(len(parts), 1)) * BAR), BAR - 1)
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
    footnotes: list[str] = field(default_factory=list)
    marks: dict[str, None] = field(default_factory=dict)

    @property
    def on(self) -> date:
        return self.report.question.on

    def blocks(self) -> Iterator[RenderableType]:
        yield from self.heading()
        yield ""
        yield from self.summary()
        yield ""
        heads = _across("progress", "have", "need", "remaining", "valid through")
        table = _table(Group("requirement", heads))
        for finding in self.report.findings:
            self.row(table, finding, 0)
        yield table
        yield Rule(style="")
        yield from self.legend()

    def heading(self) -> Iterator[str]:
        milestone, question = self.report.milestone, self.report.question
        yield f"{milestone.title} ({milestone.id}) on {question.on}"
        yield f"{milestone.says}."
        asked = [
            f"{key.replace('_', ' ')} {_shown(value)}" for key, value in question.context.as_json().items()
        ]
        if self.report.known_at:
            asked.append(f"as known at {self.report.known_at.isoformat()}")
        if asked:
            yield f"For: {'; '.join(asked)}."

    def summary(self) -> Iterator[RenderableType]:
        report, met = self.report, self.report.met
        leaves = [finding.met(self.on) for finding in report.leaves()]
        tally = [f"{leaves.count(True)} of {len(leaves)} requirements met"]
        for state, words in ((False, "not met"), (None, "unknown")):
            if leaves.count(state):
                tally.append(f"{leaves.count(state)} {words}")
        answer = {True: "ELIGIBLE", False: "NOT ELIGIBLE", None: "NOT KNOWN"}[met]
        yield Text.assemble((f"{SIGNS[met]} {answer}", STYLES[met]), f" on {self.on}: {joined(tally)}.")
        said = ["A missing fact could change this; see below what is missing."] if met is None else []
        said.append(self.span())
        if lapses := report.first_to_lapse():
            finding, last = lapses
            said.append(f"First to expire: {self.short(finding)}, on {last} ({finding.rule.cite.section}).")
        if unmet := [f"{self.short(each)} {self.left(each)}" for each in report.unmet()]:
            said.append(f"Remaining: {'; '.join(unmet)}.")
        yield Padding("\n".join(said), (0, 0, 0, 2))

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

    def row(self, table: Table, finding: Finding, depth: int) -> None:
        """The state; beside it the requirement with its citation, its amounts and what is said about them."""
        met, rule = finding.met(self.on), finding.rule
        name = rule.id.rsplit(".", 1)[-1]
        quantities = _quantities(finding)
        if met:
            quantities[2] = NOTHING
        body = Group(
            f"{name}: {rule.says}. {self.citation(finding)}",
            _across(Text(bar(finding, met), STYLES[met]), *quantities, lapse(finding, self.on)),
            _labelled(self.said(finding, met), 11),
        )
        table.add_row(Text(f"{SIGNS[met]} {STATES[met]}", STYLES[met]), Padding(body, (0, 0, 0, 2 * depth)))
        for part in finding.parts:
            self.row(table, part, depth + 1)

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

    def legend(self) -> Iterator[RenderableType]:
        notes = [(MARKS[each], UNVERIFIED[each]) for each in UNVERIFIED if each in self.marks]
        notes += [(f"[{number}]", note) for number, note in enumerate(self.footnotes, start=1)]
        yield _labelled(notes, 8)
        yield f"Rules: {self.report.rulebook[:19]}…"
        yield CAUTION


def _shown(value: object) -> str:
    if isinstance(value, list):
        return "-".join(_shown(each) for each in value)
    if isinstance(value, dict):
        return clean(str(value.get("name") or value))
    return clean(str(value))


# Every milestone


def _overview(reports: Sequence[Report], refused: Sequence[NotCovered]) -> Iterator[RenderableType]:
    table = _table("milestone", "missing ", "unknown ", "eligible")
    for report in reports:
        met, answers = report.met, [finding.met(report.question.on) for finding in report.leaves()]
        gap, first, last = _first_gap(report), report.eligible_from, report.eligible_until
        days = f"{first} to {last}" if last else f"from {first}"
        table.add_row(
            Text(f"{SIGNS[met]} {ANSWERS[met]}", STYLES[met]),
            report.milestone.id + (f"\n  first gap: {gap}" if gap else ""),
            f"{answers.count(False)} of {len(answers)}",
            f"{answers.count(None)} of {len(answers)}",
            days if first else "on no day",
        )
    yield table
    for each in refused:
        yield f"– {each.milestone}: not covered by these rules: {clean(str(each))}"
    yield Rule(style="")
    if reports:
        yield f"On {reports[0].question.on}. Rules: {reports[0].rulebook[:19]}…"
    yield CAUTION


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
