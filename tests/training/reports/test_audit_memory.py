"""An audit of thousands of findings: the pages list the first of them and say so, in bounded memory."""

from __future__ import annotations

import datetime as dt
import json
import pathlib
import re
import subprocess
import sys
import tracemalloc
import uuid
from collections.abc import Iterator

import pytest

from tests.support import audits
from tests.support.cast import Cast
from training import pdf
from training.models import AuditRun, Finding
from training.services.audit import finding_pages, finding_tables, findings

ROOT = pathlib.Path(__file__).resolve().parents[3]
MOST_OF_THE_CHILD = 400  # MB; 7,800 findings took 1,300 before
MANY = 7_800
#: Run a module, and say at its end what /proc tells of its process.
MEASURED = (
    "import atexit, runpy, sys; name = sys.argv.pop(1);"
    " atexit.register(lambda: sys.stderr.write(open('/proc/self/status').read()));"
    " runpy.run_module(name, run_name='__main__')"
)


def row(people: Cast, number: int) -> Finding:
    """A finding that is in no database, and open; every tenth is a serious one."""
    body = {
        "entries": [{"student": str(people.sam.ref), "id": f"f{number}"}],
        "says": "The flight was solo, and no endorsement in force on its day named its aircraft. " * 2,
        "citations": ["14 CFR 61.87(n)", "14 CFR 61.93(c)(1)"],
        "verified": "read",
        "mend": "correction",
        "way": "Correct the entry if it is wrong; else note what happened.",
        "unmet": [],
        "known": None,
    }
    return Finding(
        school=people.school,
        student=people.sam,
        ref=uuid.UUID(int=number),
        key=f"{number:08}",
        kind="solo-first" if number % 10 == 0 else "entry-incomplete",
        severity="serious" if number % 10 == 0 else "incomplete",
        day=dt.date(2026, 3, 2) - dt.timedelta(days=number % 900),
        body=body,
        first_seen=audits.AT,
        last_seen=audits.AT,
    )


def every(people: Cast, number: int) -> Iterator[Finding]:
    return (row(people, each) for each in range(number))


def run(people: Cast) -> AuditRun:
    return AuditRun(
        school=people.school, at=audits.AT, on=dt.date(2026, 3, 3), students=1, found=MANY, rulebook="r"
    )


@pytest.mark.django_db
def test_the_pages_list_the_first_and_say_what_is_left_out(people: Cast) -> None:
    tracemalloc.start()
    try:
        chosen = finding_pages.choose(every(people, MANY))
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert most < 20 << 20  # bytes: of those that are left out none is held
    assert (len(chosen.rows), chosen.counts.total()) == (finding_pages.MOST, MANY)
    assert [each.severity for each in chosen.rows[:780]] == ["serious"] * 780
    assert chosen.rows[0].day >= chosen.rows[779].day
    told = finding_pages.page(people.school, run(people), chosen)
    assert sum(len(each["findings"]) for each in told["groups"]) == finding_pages.MOST
    assert told["left_out"].startswith("This file lists 1,000 of 7,800 findings: ")
    assert all(form in told["left_out"] for form in ("CSV", "XLSX", "JSON"))
    assert ["Open", MANY] in told["facts"]
    assert [each[2] for each in told["counts"]] == [780, 7020]
    few = finding_pages.choose(every(people, finding_pages.MOST))
    assert finding_pages.page(people.school, run(people), few)["left_out"] == ""


@pytest.mark.any_database
@pytest.mark.django_db
def test_the_largest_pdf_is_made_in_a_process_of_bounded_memory(people: Cast, tmp_path: pathlib.Path) -> None:
    data = finding_pages.page(people.school, run(people), finding_pages.choose(every(people, MANY)))
    asked = tmp_path / "asked.json"
    asked.write_text(json.dumps({"template": "audit", "data": data, "at": audits.AT.isoformat()}))
    file = tmp_path / "audit.pdf"
    # The most of its memory. The resource usage of a child does not tell: that begins with its parent's.
    with asked.open() as given, file.open("wb") as out:
        child = subprocess.run(
            [sys.executable, "-c", MEASURED, "training.pdf"], stdin=given, stdout=out, stderr=subprocess.PIPE,
            cwd=ROOT, text=True, check=True,
        )  # fmt: skip
    [kilobytes] = re.findall(r"^VmHWM:\s*(\d+) kB$", child.stderr, re.MULTILINE)
    assert int(kilobytes) // 1024 < MOST_OF_THE_CHILD
    assert file.read_bytes().startswith(b"%PDF-")


def test_what_would_take_more_memory_ends_its_own_process_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    found = [{"title": "t" * 50, "says": "s" * 200, "facts": [["Rule", "r" * 80]] * 6}] * 40_000
    data = {"school": "s", "facts": [], "counts": [], "left_out": "", "caution": "c"}
    with pytest.raises(pdf.TooLarge, match="the PDF audit was not made"):
        pdf.make_apart("audit", {**data, "groups": [{"title": "t", "findings": found}]}, at=audits.AT)


@pytest.mark.django_db
def test_a_table_is_written_line_by_line(people: Cast) -> None:
    audits.stands(people)
    audits.stands(people, day=dt.date(2026, 3, 1))
    lines = finding_tables.lines(findings.listed(people.school).iterator(500))
    assert next(lines).startswith("\ufeffseverity,kind,day,")
    assert [each.split(",")[2] for each in lines] == ["2026-03-02", "2026-03-01"]
