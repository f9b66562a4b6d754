"""Reads a spreadsheet of flights: CSV (UTF-8 or Latin-1, comma or semicolon) and XLSX.

Cells become text in the one form that the strict readers take: a day ``2026-03-02``, a time of day ``19:40``,
a length of time ``1:24``, a number as the spreadsheet shows it. Formulas are not run: nobody can tell their
result from a typed value, so the import refuses a cell that has one (``is_formula``).
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from syllabus.engine.errors import InputError
from syllabus.engine.record.reading import Errors
from training.services.imports import sheets

MOST_BYTES = 2 * 1024 * 1024
MOST_ROWS, MOST_COLUMNS, MOST_CELL = 3_000, 60, 2_000
_ERRORS = ("#N/A", "#REF!", "#VALUE!", "#NAME?", "#NUM!", "#NULL!", "#DIV/0!", "#SPILL!", "#CALC!")
_WINDOWS = "cp1252"


class FlightFileError(InputError):
    """The file is not a readable table."""

    what = "the file"


def _letter(column: int) -> str:
    """A spreadsheet's letter for a column, counted from 0."""
    from openpyxl.utils import get_column_letter

    return get_column_letter(column)


@dataclass(frozen=True, slots=True)
class Table:
    """The headings and the rows below, each with its number in the spreadsheet (from 1).

    Every row has as many cells as there are headings. ``blank`` counts the empty rows that were skipped;
    ``read_as`` names the format.
    """

    name: str
    header: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    blank: int = 0
    read_as: str = ""

    def column(self, index: int) -> str:
        """A column's name for people: ``C (Dual)``."""
        heading = self.header[index].strip()
        return f"{_letter(index + 1)} ({heading})" if heading else _letter(index + 1)

    def as_plain(self) -> list[Any]:
        return [self.name, self.header, self.rows, self.blank, self.read_as]

    @classmethod
    def from_plain(cls, plain: list[Any]) -> Table:
        name, header, rows, blank, read_as = plain
        return cls(name, tuple(header), tuple((n, tuple(cells)) for n, cells in rows), blank, read_as)


@dataclass
class _Made:
    """Collects the table while rows are read."""

    header: tuple[str, ...] = ()
    rows: list[tuple[int, tuple[str, ...]]] = field(default_factory=list)
    blank: int = 0
    errors: Errors = field(default_factory=Errors)


def is_formula(cell: str) -> bool:
    return cell.lstrip().startswith("=")


def is_error(cell: str) -> bool:
    return cell.strip() in _ERRORS


def read(name: str, data: bytes) -> Table:
    """The table of a file. Raises: FlightFileError with every error and its row."""
    name = name.replace("\x00", "")[-100:] or "the file"
    if len(data) > MOST_BYTES:
        size = f"{len(data) / 1024 / 1024:.1f} MB"
        raise FlightFileError.at(name, f"{size}; at most {MOST_BYTES // 1024 // 1024} MB are read")
    if not data:
        raise FlightFileError.at(name, "is empty")
    if data[:4] == b"PK\x03\x04":
        return _table(name, _sheet_rows(name, data), "XLSX, the first sheet")
    if data[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        raise FlightFileError.at(name, "is an old XLS file, or locked by a password; save it as XLSX or CSV")
    text, encoding = _decoded(name, data)
    between = _separator(text)
    called = {",": "comma", ";": "semicolon"}[between]
    return _table(name, _csv_rows(name, text, between), f"CSV, {encoding}, separated by {called}s")


def _table(name: str, rows: Iterable[tuple[int, list[str]]], read_as: str) -> Table:
    made = _Made()
    for number, cells in rows:
        _row(made, number, cells)
        if len(made.rows) > MOST_ROWS:
            made.errors.add(name, f"more than {MOST_ROWS} rows; split it into several files")
            break
    if not made.header:
        made.errors.add(name, "has no heading; the first row names the columns")
    elif not made.rows and not made.errors:
        made.errors.add(name, "has a heading but no flights")
    made.errors.stop(FlightFileError)
    return Table(name, made.header, tuple(made.rows), made.blank, read_as)


def _row(made: _Made, number: int, cells: list[str]) -> None:
    while cells and not cells[-1].strip():
        cells.pop()
    if not cells:
        made.blank += bool(made.header)
        return
    if not made.header:
        if len(cells) > MOST_COLUMNS:
            made.errors.add(f"row {number}", f"{len(cells)} columns; at most {MOST_COLUMNS} are read")
        made.header = tuple(cell.strip()[:100] for cell in cells)
        return
    if len(cells) > len(made.header):
        extra = _letter(len(cells))
        made.errors.add(
            f"row {number}",
            f"has a value in column {extra}, which has no heading; add a heading or clear the cell",
        )
        return
    for index, cell in enumerate(cells):
        if len(cell) > MOST_CELL:
            made.errors.add(
                f"row {number}, column {_letter(index + 1)}",
                f"{len(cell)} characters; at most {MOST_CELL} are read",
            )
    made.rows.append((number, (*cells, *[""] * (len(made.header) - len(cells)))))


def _decoded(name: str, data: bytes) -> tuple[str, str]:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise FlightFileError.at(name, "is UTF-16 text; save it as CSV UTF-8, or as XLSX")
    if b"\x00" in data:
        raise FlightFileError.at(name, "is not text; save the flights as CSV or XLSX")
    try:
        return data.decode("utf-8-sig"), "UTF-8"
    except UnicodeDecodeError:
        pass
    try:  # most files labeled Latin-1 are Windows-1252, which includes it
        return data.decode(_WINDOWS), "Latin-1"
    except UnicodeDecodeError:
        return data.decode("latin-1"), "Latin-1"


def _separator(text: str) -> str:
    """Comma or semicolon, whichever is more frequent in the heading outside quotation marks."""
    first = next((line for line in text.splitlines() if line.strip(" ,;\t")), "")
    bare = "".join(first.split('"')[::2])
    return ";" if bare.count(";") > bare.count(",") else ","


def _csv_rows(name: str, text: str, between: str) -> Iterator[tuple[int, list[str]]]:
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=between, strict=True)
    number = 0
    while True:
        number += 1
        try:
            yield number, next(rows)
        except StopIteration:
            return
        except csv.Error as problem:
            raise FlightFileError.at(
                f"line {rows.line_num}", f"{problem}; check for a missing quotation mark"
            ) from None


def _sheet_rows(name: str, data: bytes) -> Iterator[tuple[int, list[str]]]:
    try:
        yield from enumerate(sheets.read(data, MOST_ROWS + 1000, MOST_COLUMNS + 1, MOST_CELL + 1), 1)
    except sheets.TooLarge as problem:
        raise FlightFileError.at(name, str(problem)) from None
    except sheets.Broken:
        raise FlightFileError.at(name, "is not a readable XLSX file; save it again, or as CSV") from None
