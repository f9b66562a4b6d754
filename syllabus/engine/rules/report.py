"""The eligibility report: what is met, what is missing, and the days on which the answer holds."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import Any

from syllabus.engine.record.record import Record
from syllabus.engine.rules.finding import Answer, Counted, Finding
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.reasons import Reason
from syllabus.engine.rules.rulebook import Milestone
from syllabus.engine.time import amounts
from syllabus.engine.time.days import Days

CAUTION = (
    "This is a reading of the training record, not a permission to fly and not legal advice. The regulations"
    " in force, the instructor, the examiner and the authority decide; check every citation against the"
    " current text."
)
UNVERIFIED = {
    "read": "",
    "second-hand": "The text was not read itself, only an account of it.",
    "memory": "The text was not read; this is from memory. Check it before relying on it.",
}


@dataclass(frozen=True)
class Report:
    milestone: Milestone
    question: Question
    known_at: datetime | None
    rulebook: str
    answer: Answer
    record: Record

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What each requirement found; of several ways, those of the way that comes nearest."""
        return self.answer.findings

    @property
    def holds(self) -> Days:
        """The days on which every requirement of one way holds."""
        return self.answer.holds

    @property
    def met(self) -> bool | None:
        """True, False, or None where only missing facts stand in the way."""
        return self.answer.met(self.question.on)

    @property
    def eligible(self) -> bool:
        return self.question.on in self.holds

    @cached_property
    def _span(self) -> tuple[date | None, date | None]:
        return self.holds.from_day(self.question.on) or (None, None)

    @property
    def eligible_from(self) -> date | None:
        """The first day, the day asked about or a later one, on which everything holds as it stands."""
        return self._span[0]

    @property
    def eligible_until(self) -> date | None:
        """The last day of the span that starts there; None where it is open or there is none."""
        return self._span[1]

    def first_to_lapse(self) -> tuple[Finding, date] | None:
        """The requirement met on the day whose span ends first, and that last day."""
        ends = [
            (end[1], finding)
            for finding in self.leaves()
            if finding.met(self.question.on) and (end := finding.holds.from_day(self.question.on)) and end[1]
        ]
        if not ends:
            return None
        last, finding = min(ends, key=lambda pair: pair[0])
        return finding, last

    def leaves(self) -> Iterator[Finding]:
        """Every requirement, those of nested milestones in the place of the milestone."""
        stack = list(reversed(self.findings))
        while stack:
            finding = stack.pop()
            if finding.parts:
                stack.extend(reversed(finding.parts))
            else:
                yield finding

    def unmet(self) -> list[Finding]:
        """The requirements that are not met or not known to be."""
        return [finding for finding in self.leaves() if not finding.met(self.question.on)]

    def as_json(self) -> dict[str, Any]:
        """The report as plain JSON values."""
        return {
            "milestone": self.milestone.id,
            "title": self.milestone.title,
            "on": self.question.on.isoformat(),
            "known_at": self.known_at and self.known_at.isoformat(),
            "context": self.question.context.as_json(),
            "rulebook": self.rulebook,
            "eligible": self.eligible,
            "eligible_from": self.eligible_from and self.eligible_from.isoformat(),
            "eligible_until": self.eligible_until and self.eligible_until.isoformat(),
            "holds": self.holds.as_pairs(),
            **self._ways(),
            "requirements": [self._finding(finding) for finding in self.findings],
            "caution": CAUTION,
        }

    def _ways(self) -> dict[str, Any]:
        """The way that is shown and all there are, where a milestone has several."""
        if not self.milestone.paths:
            return {}
        return {
            "path": self.answer.path,
            "paths": [
                {"id": each.id, "says": each.says, "citation": each.cite.section}
                for each in self.milestone.paths
            ],
        }

    @cached_property
    def _written(self) -> dict[int, tuple[str, dict[str, Any]]]:
        """What is written of each reason, by the reason itself, which many entries share."""
        return {}

    def _reason(self, what: Reason) -> tuple[str, dict[str, Any]]:
        """A reason's text, and its code; where it says several things, each of them too."""
        if (found := self._written.get(id(what))) is None:
            coded: dict[str, Any] = {"code": what.code}
            if what.code == "several":
                coded["reasons"] = [{"code": each.code, "text": str(each)} for each in what.alone()]
            found = self._written[id(what)] = str(what), coded
        return found

    def _said(self, said: Iterable[tuple[str, Reason]], key: str) -> list[dict[str, Any]]:
        """Entries with what is said of each, and who vouches for it."""
        vouched, made = self.record.provenance_by_id, []
        for entry, what in said:
            text, coded = self._reason(what)
            each: dict[str, Any] = {"id": entry, key: text, **coded}
            if entry in vouched:
                each["provenance"] = vouched[entry]
            made.append(each)
        return made

    def _counted(self, counted: Sequence[Counted]) -> list[dict[str, Any]]:
        """Entries with what each gave: amounts of flights where the requirement adds up, else a reason."""
        if not counted or isinstance(counted[0][1], Reason):
            return self._said([(entry, what) for entry, what in counted if isinstance(what, Reason)], "gave")
        vouched, text = self.record.provenance_by_id, amounts.text
        return [
            {"id": entry, "gave": text(gave), "provenance": vouched[entry]}
            for entry, gave in counted
            if not isinstance(gave, Reason)
        ]

    def _finding(self, finding: Finding) -> dict[str, Any]:
        rule, met = finding.rule, finding.met(self.question.on)
        notes = [{"code": each.code, "text": self._reason(each)[0]} for each in finding.notes]
        texts = [*(each["text"] for each in notes), rule.note, UNVERIFIED[rule.verified]]
        made: dict[str, Any] = {
            "id": rule.id,
            "citation": rule.cite.section,
            "says": rule.says,
            "verified": rule.verified,
            "met": met,
            "have": amounts.text(finding.have),
            "need": amounts.text(finding.need),
            "remaining": amounts.text(finding.remaining),
            "counted": self._counted(finding.counted),
            "not_counted": self._said(finding.not_counted, "why"),
            "ask": [] if met is not None else self._said(finding.ask, "missing"),
            "holds": finding.holds.as_pairs(),
            "note": " ".join(filter(None, texts)),
            "notes": notes,
            "amounts": amounts.as_json(finding.have, finding.need, finding.remaining),
        }
        if finding.parts:
            made["requirements"] = [self._finding(part) for part in finding.parts]
        return made
