"""Findings as a table for a spreadsheet."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from typing import Any, Protocol

from training.models import Finding
from training.services import findings
from training.services.spreadsheets import safe

COLUMNS = (
    "severity",
    "kind",
    "day",
    "student",
    "instructor",
    "state",
    "first seen",
    "says",
    "citations",
    "verified",
    "mend",
    "way",
    "entries",
    "finding",
)


class Writable(Protocol):
    def write(self, text: str, /) -> Any: ...


def write(listed: Iterable[Finding], to: Writable) -> None:
    """Listed findings as CSV (RFC 4180 but for the line's end), no cell of which is a formula."""
    table = csv.writer(to, lineterminator="\n")
    table.writerow(COLUMNS)
    table.writerows([safe(each) for each in _cells(row)] for row in listed)


def whose(row: Finding) -> str:
    """Whom a finding is about, in words."""
    if row.student is not None:
        return str(row.student)
    return str(row.instructor) if row.instructor is not None else "the school"


def _cells(row: Finding) -> list[str]:
    body = row.body
    return [
        row.severity,
        row.kind,
        row.day.isoformat(),
        str(row.student or ""),
        str(row.instructor or ""),
        findings.state_of(row),
        row.first_seen.date().isoformat(),
        body["says"],
        "; ".join(body["citations"]),
        body["verified"],
        body["mend"],
        body["way"],
        " ".join(each["id"] for each in body["entries"]),
        str(row.ref),
    ]
