"""A school's whole audit as pages to print: what was found, who resolved it, and what is gone."""

import zoneinfo
from collections import Counter
from collections.abc import Iterable
from typing import Any

from syllabus.engine.audit.audit import SEVERITIES
from syllabus.engine.rules.report import CAUTION
from training import pdf
from training.models import AuditRun, Finding, School
from training.reports.audit_kinds import KINDS
from training.services.audit import finding_json, finding_tables, findings

_SEVERITY = {"serious": "Serious", "incomplete": "Incomplete", "note": "Advisory"}
_STATE = {findings.OPEN: "open", findings.RESOLVED: "resolved", findings.GONE: "gone"}


def report(school: School, run: AuditRun, listed: Iterable[Finding]) -> bytes:
    """The tagged PDF of findings, dated at the audit; the same findings always give the same bytes."""
    return pdf.make("audit", page(school, run, listed), at=run.at)


def page(school: School, run: AuditRun, listed: Iterable[Finding]) -> dict[str, Any]:
    """The pages as JSON values: most severe first, then newest; findings that are gone last."""
    order = {severity: number for number, severity in enumerate(SEVERITIES)}
    rows = sorted(listed, key=lambda row: (order[row.severity], -row.day.toordinal(), row.key))
    state = {row.key: findings.state_of(row) for row in rows}
    by_kind = Counter((row.severity, row.kind, state[row.key]) for row in rows)
    kinds = dict.fromkeys((severity, kind) for severity, kind, _ in by_kind)
    groups: list[tuple[str, list[Finding]]] = [
        (words, [row for row in rows if row.severity == severity and state[row.key] != findings.GONE])
        for severity, words in _SEVERITY.items()
    ]
    gone = [row for row in rows if state[row.key] == findings.GONE]
    groups.append(("Found by an earlier audit and no longer found", gone))
    zone = zoneinfo.ZoneInfo(school.time_zone)
    return {
        "school": school.name,
        "facts": [
            ["As of", run.on.isoformat()],
            ["As known at", f"{run.at.astimezone(zone):%Y-%m-%d %H:%M} ({school.time_zone})"],
            ["Students", run.students],
            ["Rulebook", run.rulebook],
            ["Open", sum(each == findings.OPEN for each in state.values())],
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
            {"title": title, "findings": [_told(row, state[row.key], zone) for row in within]}
            for title, within in groups
            if within
        ],
        "caution": CAUTION,
    }


def _told(row: Finding, state: str, zone: zoneinfo.ZoneInfo) -> dict[str, Any]:
    body = row.body
    gone = f" since {row.gone_at.astimezone(zone):%Y-%m-%d}" if row.gone_at else ""
    facts = [
        ["Rule", "; ".join(body["citations"])],
        ["Rule checked", "" if body["verified"] == "read" else body["verified"]],
        ["Entries", ", ".join(each["id"] for each in body["entries"])],
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
