"""Flights out of spreadsheets: what a file may be, every fault with its row and column, all or nothing."""

from __future__ import annotations

import datetime as dt
import io
import zipfile
from typing import Any

import openpyxl
import pytest

from syllabus.engine.record import document
from syllabus.engine.record import record as engine
from syllabus.engine.time.units import parse_time
from tests.support import factories
from tests.support.cast import Cast
from training import models, record
from training.services.errors import NotAllowed
from training.services.imports import flight_columns, flight_files, flight_import
from training.services.imports.flight_columns import Asked
from training.services.imports.flight_files import FlightFileError, Table
from training.services.imports.flight_import import ImportRefused

AT = dt.datetime(2026, 11, 20, 15, tzinfo=dt.UTC)
HEADER = (
    "date,registration,route,total,dual,instructor,certificate,night,off,on,landings by day,full stops by day"
)
ROW = "2026-03-02,N00AB,KOSH KFLD KOSH,1.4,1.4,Ida Example,0000001CFI,0,13:40,15:04,3,2"
ELEVEN = ROW.split(",")
KEYS = HEADER.split(",")


def table(*rows: str, header: str = HEADER) -> Table:
    return flight_files.read("flights.csv", "\n".join([header, *rows]).encode())


def with_cell(key: str, cell: str) -> str:
    return ",".join(cell if each == key else was for each, was in zip(KEYS, ELEVEN, strict=True))


def asked(found: Table, **more: Any) -> Asked:
    return Asked(flight_columns.suggest(found), **more)


def carried_out(found: Table, people: Cast, **more: Any) -> models.RecordChange | None:
    wanted = asked(found, **more)
    plan = flight_import.dry_run(found, wanted, people.sam, at=AT)
    assert plan.errors == []
    return flight_import.carry_out(
        found,
        wanted,
        people.sam,
        digest=plan.digest,
        by=people.ada,
        at=AT,
        via="web",
        reason="from the logbook",
    )


def flights(people: Cast) -> tuple[engine.Flight, ...]:
    people.sam.refresh_from_db()
    return record.of(people.sam).flights


def book(*rows: list[Any]) -> bytes:
    made, out = openpyxl.Workbook(), io.BytesIO()
    for row in rows:
        made.active.append(row)
    made.save(out)
    return out.getvalue()


# What a file may be


@pytest.mark.parametrize(
    ("data", "remarks", "read_as"),
    [
        pytest.param(
            "date,remarks\n2026-03-02,süß\n".encode(), "süß", "CSV, UTF-8, separated by commas", id="UTF-8"
        ),
        pytest.param(
            "date;remarks\r\n2026-03-02;süß, sehr\r\n".encode("utf-8-sig"),
            "süß, sehr",
            "CSV, UTF-8, separated by semicolons",
            id="UTF-8 with a mark in front, and semicolons",
        ),
        pytest.param(
            "date,remarks\n2026-03-02,süß\n".encode("latin-1"),
            "süß",
            "CSV, Latin-1, separated by commas",
            id="Latin-1",
        ),
        pytest.param(
            b'date,"a;b;c"\n2026-03-02,"two\nlines, one cell"\n',
            "two\nlines, one cell",
            "CSV, UTF-8, separated by commas",
            id="a separator inside quotation marks separates nothing",
        ),
        pytest.param(
            book(["date", "remarks"], [dt.date(2026, 3, 2), "süß"]), "süß", "XLSX, the first sheet", id="XLSX"
        ),
    ],
)
def test_a_file_that_can_be_read(data: bytes, remarks: str, read_as: str) -> None:
    found = flight_files.read("flights", data)
    assert found.rows == ((2, ("2026-03-02", remarks)),)
    assert found.read_as == read_as


def unpacking_to(size: int) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as parts:
        parts.writestr("xl/worksheets/sheet1.xml", b" " * size)
    return out.getvalue()


@pytest.mark.parametrize(
    ("data", "said"),
    [
        pytest.param(b"", "f: is empty", id="nothing"),
        pytest.param(b"a,b\n", "f: has a heading but no flights", id="a heading alone"),
        pytest.param(b"\n\n", "f: has no heading; the first row names the columns", id="blank rows alone"),
        pytest.param(
            b"a\n" + b"1\n" * 3001, "f: more than 3000 rows; split it into several files", id="a row too many"
        ),
        pytest.param(b"a" * (2 * 1024 * 1024 + 1), "f: 2.0 MB; at most 2 MB are read", id="a byte too many"),
        pytest.param(
            b"a\n1,2\n",
            "row 2: has a value in column B, which has no heading; add a heading or clear the cell",
            id="a cell without a heading",
        ),
        pytest.param(b"a\x00b", "f: is not text; save the flights as CSV or XLSX", id="no text"),
        pytest.param(
            "a,b".encode("utf-16"), "f: is UTF-16 text; save it as CSV UTF-8, or as XLSX", id="UTF-16"
        ),
        pytest.param(
            b'a,b\n"1,2\n',
            "line 2: unexpected end of data; check for a missing quotation mark",
            id="a quotation mark left open",
        ),
        pytest.param(
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1",
            "f: is an old XLS file, or locked by a password; save it as XLSX or CSV",
            id="an old or locked spreadsheet",
        ),
        pytest.param(
            b"PK\x03\x04 and no more",
            "f: is not a readable XLSX file; save it again, or as CSV",
            id="a broken spreadsheet",
        ),
        pytest.param(
            unpacking_to(50 * 1024 * 1024 + 1),
            "f: is 50 MB when unpacked; at most 24 MB are read. Save it as CSV",
            id="a spreadsheet that unpacks without end",
        ),
    ],
)
def test_a_file_that_cannot_be_read(data: bytes, said: str) -> None:
    with pytest.raises(FlightFileError) as problem:
        flight_files.read("f", data)
    assert str(problem.value.errors[0]) == said


@pytest.mark.parametrize(
    ("value", "cell"),
    [
        pytest.param(dt.date(2026, 3, 2), "2026-03-02", id="a day"),
        pytest.param(dt.time(19, 40), "19:40", id="a time of day"),
        pytest.param(dt.timedelta(hours=25, minutes=4), "25:04", id="a length of time"),
        pytest.param(0.1 + 0.2, "0.3", id="a number as the spreadsheet shows it"),
        pytest.param(3, "3", id="a whole number"),
        pytest.param("=1+1", "=1+1", id="a formula stays one"),
        pytest.param(None, "", id="nothing"),
    ],
)
def test_a_spreadsheets_cell_as_text(value: Any, cell: str) -> None:
    found = flight_files.read("f", book(["a", "b"], [value, "x"]))
    assert found.rows[0][1][0] == cell


def test_blank_rows_are_counted_and_rows_keep_their_numbers() -> None:
    found = flight_files.read("f", b"\na\n\n1\n\n2\n")
    assert [number for number, _ in found.rows] == [4, 6]
    assert found.blank == 2


# Errors, each with its row and column


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(
    ("key", "cell", "column", "said"),
    [
        ("date", "", "A (date)",
         "is empty; every flight has its day"),
        ("date", "2026-02-30", "A (date)",
         "'2026-02-30' is not a day written as year-month-day, 2026-03-02"),
        ("date", "3/2/2026", "A (date)",
         "'3/2/2026' is not a day written as year-month-day, 2026-03-02"),
        ("total", "1.4 NM", "D (total)",
         "'1.4 NM' is a distance, but a time is expected, such as '1.4 h', '84 min', '1:24' or 1.4"),
        ("total", '"1,4"', "D (total)",
         "1,4: write the decimal point as a point (1.4)"),
        ("total", "-1", "D (total)",
         "-1 is below zero; a time is 0 or more"),
        ("dual", "1.5", "E (dual)",
         "1.5 h is more than the total, 1.4 h; correct one"),
        ("dual", "=D2", "E (dual)",
         "holds a formula; put in its value (copy, then paste values)"),
        ("night", "#REF!", "H (night)",
         "holds the error #REF!; put in the value or empty it"),
        ("instructor", "", "G (certificate)",
         "a certificate without an instructor's name"),
        ("off", "25:00", "I (off)",
         "'25:00' is not a time of day from 00:00 to 23:59"),
        ("off", "soon", "I (off)",
         "'soon' is not a date and time; write it like 2026-03-02T19:40:00-06:00"),
        ("landings by day", "2.5", "K (landings by day)",
         "'2.5' is not a whole number"),
        ("full stops by day", "4", "L (full stops by day)",
         "4 of 3 landings; correct one of them"),
    ],
)  # fmt: skip
def test_a_fault_is_told_with_its_row_and_column(
    people: Cast, key: str, cell: str, column: str, said: str
) -> None:
    found = table(with_cell(key, cell))
    plan = flight_import.dry_run(found, asked(found), people.sam, at=AT)
    assert f"row 2, column {column}: {said}" in map(str, plan.errors)
    assert plan.added == []


def test_a_place_that_nobody_knows_is_told_with_its_column(people: Cast) -> None:
    found = table("2026-03-02,KOSH,KXQZ,1.0", header="date,from,to,total")
    [fault] = flight_import.dry_run(found, asked(found), people.sam, at=AT).errors
    assert fault.place == "row 2, column C (to)"
    assert "KXQZ" in fault.message


def test_every_rows_faults_are_told_at_once(people: Cast) -> None:
    found = table(with_cell("total", "x"), ROW, with_cell("date", "tomorrow"), with_cell("dual", "9"))
    plan = flight_import.dry_run(found, asked(found), people.sam, at=AT)
    assert [fault.place.partition(",")[0] for fault in plan.errors] == ["row 2", "row 4", "row 5"]


@pytest.mark.parametrize(
    ("columns", "said"),
    [
        ({"total": 0}, "date: choose the column with the day of the flight"),
        ({"date": 0}, "total: choose at least one column with a time"),
        ({"date": 0, "total": 3, "route": 2, "to": 1},
         "route: choose either the whole route, or from, via and to"),
        ({"date": 0, "total": 0},
         "total: column A (date) is chosen for Day of the flight and Total time; choose one"),
        (
            {"date": 0, "total": 3, "certificate": 6},
            "certificate: an instructor's certificate needs a name; choose the column with the name too",
        ),
    ],
)  # fmt: skip
def test_a_mapping_that_is_none(people: Cast, columns: dict[str, int], said: str) -> None:
    plan = flight_import.dry_run(table(ROW), Asked(columns), people.sam, at=AT)
    assert said in map(str, plan.errors)


def test_an_hour_that_comes_twice_is_asked_about(people: Cast) -> None:
    found = table("2026-11-01,1.0,01:30,", header="date,total,off,on")
    [fault] = flight_import.dry_run(found, asked(found), people.sam, at=AT).errors
    assert "comes twice as the clocks change" in fault.message


# What is put on record


def test_a_row_becomes_the_flight_it_says(people: Cast) -> None:
    factories.aircraft(people.school, registration="N00AB", model="C172")
    assert carried_out(table(ROW), people) is not None
    [flight] = flights(people)
    assert flight.date == dt.date(2026, 3, 2)
    assert flight.off is not None
    assert flight.off.isoformat() == "2026-03-02T13:40:00-06:00"
    assert dict(flight.times) == {"total": parse_time("84 min"), "dual": parse_time("84 min"), "night": 0}
    assert [point.key for point in flight.route] == ["KOSH", "KFLD", "KOSH"]
    assert flight.aircraft == engine.Aircraft("N00AB", "C172", "airplane", "single-engine land", None)
    assert flight.instructor == engine.Instructor("Ida Example", "0000001CFI")
    assert [(each.landings, each.full_stop, each.period) for each in flight.landings] == [
        (2, True, "day"),
        (1, False, "day"),
    ]
    row = models.Flight.objects.get(student=people.sam)
    assert row.instructor_user == people.ida
    assert row.aircraft is not None
    assert models.AccessLog.objects.filter(student=people.sam, what="import of 1 flights").count() == 1


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(
    ("more", "cells", "date", "total", "off"),
    [
        pytest.param({"dates": "mdy"}, "3/2/2026,84 min,0:10",
                     "2026-03-02", "84 min", "2026-03-02T06:10:00+00:00", id="month first"),
        pytest.param({"dates": "dots"}, "2.3.2026,1:24,00:10",
                     "2026-03-02", "84 min", "2026-03-02T06:10:00+00:00", id="day first"),
        pytest.param({"unit": "min", "clock": "utc"}, "2026-03-02,84,0010",
                     "2026-03-02", "84 min", "2026-03-02T00:10:00+00:00", id="minutes, by UTC"),
        pytest.param({}, "2026-07-02,1.4,2026-07-02T00:10-04:00",
                     "2026-07-02", "84 min", "2026-07-02T04:10:00+00:00", id="with its own offset"),
    ],
)  # fmt: skip
def test_how_a_file_writes_what_it_writes(
    people: Cast, more: dict[str, str], cells: str, date: str, total: str, off: str
) -> None:
    carried_out(table(cells, header="date,total,off"), people, **more)
    [flight] = flights(people)
    assert flight.off is not None
    assert (flight.date.isoformat(), flight.times["total"]) == (date, parse_time(total))
    assert flight.off.astimezone(dt.UTC).isoformat() == off


def test_on_before_off_is_after_midnight(people: Cast) -> None:
    carried_out(table("2026-03-02,1.0,23:30,00:30", header="date,total,off,on"), people)
    [flight] = flights(people)
    assert flight.off is not None
    assert flight.on is not None
    assert flight.on - flight.off == dt.timedelta(hours=1)


def test_out_and_in_stand_around_off_and_on_past_midnight(people: Cast) -> None:
    cells = "2026-03-02,0.8,23:45,23:52,00:30,00:36"
    carried_out(table(cells, header="date,total,out,off,on,in"), people)
    [flight] = flights(people)
    at = [each and each.isoformat() for each in (flight.out, flight.off, flight.on, flight.in_)]
    assert at == [
        "2026-03-02T23:45:00-06:00",
        "2026-03-02T23:52:00-06:00",
        "2026-03-03T00:30:00-06:00",
        "2026-03-03T00:36:00-06:00",
    ]


def test_an_instructor_of_another_kind_is_imported_as_such(people: Cast) -> None:
    header = "date,total,instructor,certificate,instructor kind"
    carried_out(table("2026-03-02,1.0,Gil Example,GI-7,foreign", header=header), people)
    [flight] = flights(people)
    assert flight.instructor == engine.Instructor("Gil Example", "GI-7", "foreign")


def test_an_unknown_kind_of_instructor_is_told_at_its_column(people: Cast) -> None:
    found = table("2026-03-02,1.0,Gil Example,examiner", header="date,total,instructor,instructor kind")
    [fault] = flight_import.dry_run(found, asked(found), people.sam, at=AT).errors
    assert fault.place == "row 2, column D (instructor kind)"
    assert "flight, ground, foreign, armed-forces" in fault.message


def test_the_same_file_again_changes_nothing(people: Cast) -> None:
    found = table(ROW, ROW, with_cell("date", "2026-03-03"))
    assert carried_out(found, people) is not None
    version = models.Student.objects.get(pk=people.sam.pk).version
    assert carried_out(found, people) is None
    assert models.Student.objects.get(pk=people.sam.pk).version == version
    assert len(flights(people)) == 3


def test_the_same_flights_as_xlsx_are_the_same(people: Cast) -> None:
    carried_out(table("2026-03-02,N00AB,1.4", header="date,registration,total"), people)
    data = book(["date", "registration", "total"], [dt.date(2026, 3, 2), "N00AB", 1.4])
    assert carried_out(flight_files.read("f.xlsx", data), people) is None


def test_a_corrected_row_takes_the_place_of_its_own(people: Cast) -> None:
    carried_out(table(ROW), people)
    found = table(with_cell("night", "0.2"))
    plan = flight_import.dry_run(found, asked(found), people.sam, at=AT)
    assert (len(plan.added), len(plan.changed), plan.kept) == (0, 1, 0)
    change = carried_out(found, people)
    assert change is not None
    assert change.counts["flights"] == {"added": 0, "changed": 1, "removed": 0, "kept": 0}
    assert models.Flight.objects.filter(student=people.sam).count() == 2


def test_what_stands_on_record_stays(people: Cast) -> None:
    made = document.parse({"format": "training-record/1", "flights": [{"id": "f1", "date": "2026-01-05"}]})
    factories.recorded(people.sam, flights=made.flights)
    people.sam.refresh_from_db()
    carried_out(table(ROW), people)
    assert {"f1"} < {each.id for each in flights(people)}


def test_a_flight_that_may_be_on_record_already_is_pointed_out(people: Cast) -> None:
    carried_out(table(ROW), people)
    found = table(with_cell("off", "13:30"))
    [caution] = flight_import.dry_run(found, asked(found), people.sam, at=AT).cautions
    assert "is on record already" in caution.message


def test_one_fault_puts_nothing_on_record(people: Cast) -> None:
    found = table(ROW, with_cell("total", "x"))
    with pytest.raises(ImportRefused, match="row 3"):
        flight_import.carry_out(
            found,
            asked(found),
            people.sam,
            digest="",
            by=people.ada,
            at=AT,
            via="web",
            reason="from the logbook",
        )
    assert flights(people) == ()


def test_a_plan_that_is_not_the_one_that_was_read_is_refused(people: Cast) -> None:
    found = table(ROW)
    digest = flight_import.dry_run(found, asked(found), people.sam, at=AT).digest
    carried_out(found, people)
    with pytest.raises(ImportRefused, match="changed after the preview"):
        flight_import.carry_out(
            found,
            asked(found),
            people.sam,
            digest=digest,
            by=people.ada,
            at=AT,
            via="web",
            reason="from the logbook",
        )


@pytest.mark.parametrize("who", ["ida", "olaf", "sams_account"])
def test_only_an_administrator_of_the_school_imports(people: Cast, who: str) -> None:
    found = table(ROW)
    digest = flight_import.dry_run(found, asked(found), people.sam, at=AT).digest
    with pytest.raises(NotAllowed):
        flight_import.carry_out(
            found,
            asked(found),
            people.sam,
            digest=digest,
            by=getattr(people, who),
            at=AT,
            via="web",
            reason="x",
        )


def test_what_was_signed_is_not_imported_over(people: Cast) -> None:
    made = document.parse({"format": "training-record/1", "flights": [{"id": "s/1", "date": "2026-01-05"}]})
    record.add(people.sam, "flights", made.flights[0], at=factories.NOON, sealed=True)
    people.sam.refresh_from_db()
    found = table("s/1,2026-01-05,2.0", header="id,date,total")
    [fault] = flight_import.dry_run(found, asked(found), people.sam, at=AT).errors
    assert (
        str(fault)
        == "row 2: s/1 was signed here, so an import cannot change it; its instructor can correct it"
    )


def test_a_flight_that_is_still_to_come_is_refused_at_its_cell(people: Cast) -> None:
    found = table(with_cell("date", "2026-11-20"), with_cell("date", "2026-11-21"))
    [fault] = flight_import.dry_run(found, asked(found), people.sam, at=AT).errors
    assert str(fault) == "row 3, column A (date): 2026-11-21 is in the future; today is 2026-11-20"


def test_a_flight_from_before_the_birth_is_refused_at_its_cell(people: Cast) -> None:
    found = table(with_cell("date", "2006-05-17"), with_cell("date", "2006-05-16"))
    [fault] = flight_import.dry_run(found, asked(found), people.sam, at=AT).errors
    assert str(fault) == "row 3, column A (date): 2006-05-16 is before the student's birth, 2006-05-17"
