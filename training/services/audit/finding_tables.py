"""Findings as a table for a spreadsheet."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator
from itertools import chain
from typing import TYPE_CHECKING, Any, Protocol

from training.models import Finding
from training.services.audit import findings
from training.services.spreadsheets import safe

if TYPE_CHECKING:
    from openpyxl.cell import WriteOnlyCell

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


#: Characters that XML 1.0 forbids in a workbook, and the longest text of a cell.
_NOT_IN_XML = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")
_MOST = 32_767


class Writable(Protocol):
    def write(self, text: str, /) -> Any: ...


def write(listed: Iterable[Finding], to: Writable) -> None:
    """The findings as CSV (RFC 4180, with ``\\n`` at the end of a line); no cell is a formula."""
    for each in lines(listed):
        to.write(each.removeprefix("\ufeff"))


def lines(listed: Iterable[Finding]) -> Iterator[str]:
    """The same line by line, for an answer that is sent while the findings are read.

    It begins with a byte order mark: without it one widely used spreadsheet reads another encoding.
    """
    line = io.StringIO("\ufeff")
    line.seek(0, io.SEEK_END)
    table = csv.writer(line, lineterminator="\n")
    for cells in chain([COLUMNS], (_cells(row) for row in listed)):
        table.writerow([safe(each) for each in cells])
        yield line.getvalue()
        line.seek(0)
        line.truncate()


def workbook(listed: Iterable[Finding]) -> bytes:
    """The same as an XLSX workbook. Every cell is text, and begins as in the CSV."""
    from openpyxl import Workbook  # slow to import, and few processes need it

    made = Workbook(write_only=True)
    sheet = made.create_sheet("findings")
    sheet.freeze_panes = "A2"
    for cells in (COLUMNS, *(_cells(row) for row in listed)):
        sheet.append([_text(sheet, safe(each)) for each in cells])
    held = io.BytesIO()
    made.save(held)
    return held.getvalue()


def _text(sheet: Any, value: str) -> WriteOnlyCell:
    from openpyxl.cell import WriteOnlyCell

    cell = WriteOnlyCell(sheet, _NOT_IN_XML.sub("?", value)[:_MOST])
    cell.data_type = "s"  # text, even if it begins like a formula
    return cell


def whose(row: Finding) -> str:
    """The name of the person whom a finding is about."""
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
        row.school.day(row.first_seen).isoformat(),
        body["says"],
        "; ".join(body["citations"]),
        body["verified"],
        body["mend"],
        body["way"],
        " ".join(each["id"] for each in body["entries"]),
        str(row.ref),
    ]
