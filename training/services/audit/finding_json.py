"""Findings of an audit as plain JSON values, for programs and for the command line."""

from collections.abc import Mapping, Sequence
from typing import Any

from syllabus.engine.time.instants import in_utc
from training.models import Finding, Resolution
from training.reports import finding_entries
from training.services.audit import findings

_INSTANTS = ("first_seen", "last_seen", "changed_at", "gone_at", "returned_at")


def listed(page: Sequence[Finding]) -> list[dict[str, Any]]:
    """Findings as JSON values, with their resolutions and each entry's provenance."""
    vouched = finding_entries.vouched(page)
    signed = finding_entries.reasons(page)
    return [_finding(each, vouched) | {"signed_reason": signed.get(each.key)} for each in page]


def _finding(finding: Finding, vouched: Mapping[tuple[str, str], str]) -> dict[str, Any]:
    return {
        "id": str(finding.ref),
        "kind": finding.kind,
        "severity": finding.severity,
        "state": findings.state_of(finding),
        "digest": finding.digest,
        "student": str(finding.student.ref) if finding.student else None,
        "instructor": str(finding.instructor) if finding.instructor else None,
        **finding.body,
        "entries": [
            {**each, "provenance": vouched.get((each["student"], each["id"]))}
            for each in finding.body["entries"]
        ],
        **{name: (at := getattr(finding, name)) and in_utc(at) for name in _INSTANTS},
        "resolutions": [resolution(each) for each in finding.resolutions.all()] if finding.pk else [],
    }


def resolution(made: Resolution) -> dict[str, Any]:
    """Who resolved a finding, how and when. ``stands``: whether the finding has not changed since."""
    finding = made.finding
    back = finding.returned_at is not None and made.at < finding.returned_at
    return {
        "by": str(made.by),
        "at": in_utc(made.at),
        "how": made.how,
        "note": made.note,
        "stands": made.digest == finding.digest and not back,
        "ledger_index": made.ledger_index,
    }
