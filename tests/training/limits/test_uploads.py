"""Files made to take all memory or time of whoever reads them."""

from __future__ import annotations

import io
import json
import pathlib
import resource
import struct
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable
from typing import Any

import openpyxl
import pytest

from syllabus.courses import files
from syllabus.engine.course.course import CourseError
from training.services.imports import flight_files, sheets
from training.services.imports.flight_files import FlightFileError

ROOT = pathlib.Path(__file__).resolve().parents[3]
MB = 1024 * 1024
ROW = "<row r='{0}'><c r='A{0}'><v>1</v></c></row>"
SHEET = (
    "<worksheet xmlns='http://schemas.openxmlformats.org/spreadsheetml/2006/main'><sheetData>"
    "{}</sheetData></worksheet>"
)
STRINGS = "<sst xmlns='http://schemas.openxmlformats.org/spreadsheetml/2006/main'>{}</sst>"


SHARED = (
    b'<Override PartName="/xl/sharedStrings.xml" ContentType='
    b'"application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"/>'
)


def book(**parts: str) -> bytes:
    """A small spreadsheet, some of whose parts are others: ``strings`` and ``sheet``."""
    whole, out = io.BytesIO(), io.BytesIO()
    made = openpyxl.Workbook()
    made.active.append(["date", "total"])  # type: ignore[union-attr]
    made.active.append(["2026-03-02", 1])  # type: ignore[union-attr]
    made.save(whole)
    names = {
        "sheet": "xl/worksheets/sheet1.xml",
        "styles": "xl/styles.xml",
        "strings": "xl/sharedStrings.xml",
    }
    with zipfile.ZipFile(whole) as old:
        content = {name: old.read(name) for name in old.namelist()}
    content |= {names[key]: text.encode() for key, text in parts.items()}
    types = content["[Content_Types].xml"]
    if b"sharedStrings" not in types:
        content["[Content_Types].xml"] = types.replace(b"</Types>", SHARED + b"</Types>")
        content.setdefault(names["strings"], STRINGS.format("").encode())
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name, data in content.items():
            new.writestr(name, data)
    return out.getvalue()


def lying() -> bytes:
    """49 MB of shared strings that its directory calls 1 MB."""
    data = book(strings=STRINGS.format("<si><t>abcdefgh</t></si>" * (49 * MB // 24)))
    at = data.rindex(b"xl/sharedStrings.xml") - 46
    assert data[at : at + 4] == b"PK\x01\x02"
    return data[: at + 24] + struct.pack("<I", MB) + data[at + 28 :]


LAUGHS = (
    "<!DOCTYPE a [<!ENTITY a 'ha'>"
    + "".join(f"<!ENTITY {b} '{f'&{a};' * 10}'>" for a, b in zip("abcdefgh", "bcdefghi", strict=True))
    + "]>"
)
BOMBS: dict[str, tuple[Callable[[], bytes], str]] = {
    "49 MB of shared strings": (
        lambda: book(strings=STRINGS.format("<si><t>abcdefgh</t></si>" * (49 * MB // 24))),
        "49 MB when unpacked",
    ),
    "the same, where the directory says 1 MB": (lying, "not a readable XLSX file"),
    "6 MB of shared strings": (
        lambda: book(strings=STRINGS.format("<si><t/></si>" * (6 * MB // 13 - 9))),
        "",
    ),
    "6 MB of styles": (
        lambda: book(styles="<styleSheet>" + "<a/>" * (6 * MB // 4 - 9_999) + "</styleSheet>"),
        "",
    ),
    "23 MB of cells": (
        lambda: book(sheet=SHEET.format("<row>" + "<c><v>1</v></c>" * (17 * MB // 15) + "</row>")),
        "",
    ),
    "the last row of all": (lambda: book(sheet=SHEET.format(ROW.format(1_048_576))), "has no heading"),
    "entities in entities": (lambda: book(strings=LAUGHS + STRINGS.format("<si><t>&i;</t></si>")), ""),
}  # fmt: skip


def take_all() -> None:
    """Read each of them, and print what was said and what it took: to run in a process of its own.

    The memory of a child is told as that of its parent at least, and that of all children as the largest.
    """
    for name, (made, _) in BOMBS.items():
        data, told = made(), ""
        assert len(data) < flight_files.MOST_BYTES
        before, begun = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, time.process_time()
        try:
            flight_files.read("f.xlsx", data)
        except FlightFileError as problem:
            told = str(problem)
        took = time.process_time() - begun
        own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
        child = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
        print(json.dumps({"name": name, "told": told, "seconds": took, "own": own, "child": child}))


@pytest.fixture(scope="module")
def taken() -> dict[str, dict[str, Any]]:
    begin = (
        "import django; django.setup(); from tests.training.limits.test_uploads import take_all; take_all()"
    )
    done = subprocess.run(
        [sys.executable, "-c", begin], cwd=ROOT, capture_output=True, text=True, check=True, timeout=300
    )
    return {each["name"]: each for each in map(json.loads, done.stdout.splitlines())}


@pytest.mark.parametrize("name", BOMBS)
def test_a_spreadsheet_takes_little_memory_and_time(taken: dict[str, dict[str, Any]], name: str) -> None:
    assert BOMBS[name][1] in taken[name]["told"]
    assert taken[name]["seconds"] < 1
    assert taken[name]["own"] < 64 * 1024, "kB of this process"
    assert taken[name]["child"] < sheets.MEMORY // 1024, "kB of the process that read it"


def test_who_reads_a_spreadsheet_is_ended_where_it_takes_too_long(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sheets, "WAITED", 0.01)
    with pytest.raises(FlightFileError, match="takes too long to read"):
        flight_files.read("f.xlsx", book())


def test_who_reads_a_spreadsheet_knows_no_secret(monkeypatch: pytest.MonkeyPatch) -> None:
    given: dict[str, object] = {}
    real = sheets.subprocess.run

    def run(*args: object, **kwargs: object) -> object:
        given.update(kwargs)
        return real(*args, **kwargs)  # type: ignore[call-overload]

    monkeypatch.setattr(sheets.subprocess, "run", run)
    assert flight_files.read("f.xlsx", book()).header == ("date", "total")
    assert given["env"] == {"OPENBLAS_NUM_THREADS": "1"}


@pytest.mark.parametrize(
    "text",
    [
        pytest.param("a: &a [" + "x," * 10 + "]\n" + "".join(
            f"{b}: &{b} [{','.join(['*' + a] * 10)}]\n" for a, b in zip("abcdefgh", "bcdefghi", strict=True)
        ), id="aliases of aliases"),
        pytest.param("course: x\nitems: [" + "a," * 600_000 + "]", id="a list of 600,000"),
        pytest.param("course: x\nitems: [" + "{a: b}," * 200_000 + "]", id="200,000 mappings"),
        pytest.param("course: x\nstages:\n" + "- {t: x, l: [{t: y, h: {d: 1 h}}]}\n" * 40_000, id="stages"),
        pytest.param("[" * 20_000, id="nested without end"),
    ],
)  # fmt: skip
def test_a_course_takes_little_time(text: str) -> None:
    begun = time.process_time()
    with pytest.raises(CourseError):
        files.read_bytes(text.encode(), "course.yaml")
    assert time.process_time() - begun < 5
