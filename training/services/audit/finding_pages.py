"""A school's whole audit as pages to print: what was found, who resolved it, and what is gone."""

import heapq
import zoneinfo
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet

from syllabus.engine.audit.audit import SEVERITIES
from syllabus.engine.rules.report import CAUTION
from training import pdf
from training.models import AuditRun, Finding, School
from training.presenters.days import moment
from training.reports import finding_entries
from training.reports.audit_kinds import KINDS
from training.services.audit import finding_json, finding_tables, findings

#: More would take long to make and to read: 7,800 took 1.3 GB. The rest is in CSV, XLSX and JSON.
MOST = 1_000
_SEVERITY = {"serious": "Serious", "incomplete": "Incomplete", "note": "Advisory"}
_STATE = {findings.OPEN: "open", findings.RESOLVED: "resolved", findings.GONE: "gone"}


@dataclass(frozen=True, slots=True)
class Chosen:
    """The findings that the pages list, and how many there are of each severity, kind and state."""

    rows: list[Finding]
    counts: Counter[tuple[str, str, str]]

    @property
    def left_out(self) -> str:
        """What to say where there are more than the pages list."""
        if (total := self.counts.total()) == len(self.rows):
            return ""
        return (
            f"This file lists {len(self.rows):,} of {total:,} findings: the open ones first, the most severe,"
            " then the newest. The audit page of the school has all of them, as CSV and as XLSX; the API has"
            " them as JSON."
        )


def choose(listed: Iterable[Finding]) -> Chosen:
    """Count all findings and keep as many as the pages list; the others are read one by one."""
    counts: Counter[tuple[str, str, str]] = Counter()

    def counted() -> Iterator[Finding]:
        for row in listed.iterator(chunk_size=500) if isinstance(listed, QuerySet) else listed:
            counts[row.severity, row.kind, findings.state_of(row)] += 1
            yield row

    return Chosen(heapq.nsmallest(MOST, counted(), key=_place), counts)


def _place(row: Finding) -> tuple[bool, int, int, str]:
    """Where a finding comes: what is gone last, the most severe first, then the newest."""
    gone = findings.state_of(row) == findings.GONE
    return gone, SEVERITIES.index(row.severity), -row.day.toordinal(), row.key


def report(school: School, run: AuditRun, chosen: Chosen) -> bytes:
    """The tagged PDF of findings, dated at the audit; the same findings always give the same bytes.

    Raises: pdf.TooLarge.
    """
    return pdf.make_apart("audit", page(school, run, chosen), at=run.at)


def page(school: School, run: AuditRun, chosen: Chosen) -> dict[str, Any]:
    """What the pages say, as JSON values."""
    rows, by_kind = chosen.rows, chosen.counts
    state = {row.key: findings.state_of(row) for row in rows}
    kinds = sorted({(severity, kind) for severity, kind, _ in by_kind}, key=_kind_place)
    groups: list[tuple[str, list[Finding]]] = [
        (words, [row for row in rows if row.severity == severity and state[row.key] != findings.GONE])
        for severity, words in _SEVERITY.items()
    ]
    gone = [row for row in rows if state[row.key] == findings.GONE]
    groups.append(("Found by an earlier audit and no longer found", gone))
    zone, names = zoneinfo.ZoneInfo(school.time_zone), finding_entries.names(rows)
    return {
        "school": school.name,
        "facts": [
            ["As of", run.on.isoformat()],
            ["As known at", moment(run.at, zone)],
            ["Students", run.students],
            ["Rulebook", run.rulebook],
            ["Open", sum(number for (_, _, each), number in by_kind.items() if each == findings.OPEN)],
        ],
        "counts": [
            [
                KINDS.get(kind, kind),
                _SEVERITY[severity],
                *(by_kind[severity, kind, each] for each in findings.STATES),
            ]
            for severity, kind in kinds
        ],
        "groups": [
            {"title": title, "findings": [_told(row, state[row.key], zone, names) for row in within]}
            for title, within in groups
            if within
        ],
        "left_out": chosen.left_out,
        "caution": CAUTION,
    }


def _entries(named: Iterable[Mapping[str, Any]], names: Mapping[tuple[str, str], str]) -> list[str]:
    """The entries of a finding by name, once each; what is no entry of the record is a lesson."""
    return list(dict.fromkeys(names.get((each["student"], each["id"]), "A lesson record") for each in named))


def _kind_place(kind: tuple[str, str]) -> tuple[int, str]:
    return SEVERITIES.index(kind[0]), kind[1]


def _told(
    row: Finding, state: str, zone: zoneinfo.ZoneInfo, names: Mapping[tuple[str, str], str]
) -> dict[str, Any]:
    body = row.body
    gone = f" since {row.gone_at.astimezone(zone):%Y-%m-%d}" if row.gone_at else ""
    facts = [
        ["Rule", "; ".join(body["citations"])],
        ["Rule checked", "" if body["verified"] == "read" else body["verified"]],
        ["Entries", "; ".join(_entries(body["entries"], names))],
        ["Remedy", body["way"]],
        ["Status", f"{_STATE[state]}{gone}; first found {row.first_seen.astimezone(zone):%Y-%m-%d}"],
        ["Reference", str(row.ref)],
    ]
    for made in row.resolutions.all() if row.pk else ():
        said = finding_json.resolution(made)
        was = "" if said["stands"] else " (before the finding changed)"
        facts.append(
            [
                "Resolved",
                f"{made.at.astimezone(zone):%Y-%m-%d} by {made.by}: {made.how}. {made.note}"
                f" Ledger entry {made.ledger_index}{was}.",
            ]
        )
    return {
        "title": f"{KINDS.get(row.kind, row.kind)}: {finding_tables.whose(row)}, {row.day}",
        "says": body["says"],
        "facts": [[name, value] for name, value in facts if value],
    }
