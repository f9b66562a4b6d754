"""An audit of a stored school: what is kept of it, what the command tells, and what was known then."""

from __future__ import annotations

import csv
import dataclasses
import datetime as dt
import io
import json
import pathlib
import uuid
from typing import Any

import openpyxl
import psycopg
import pytest
from django.core.management import CommandError, call_command
from django.db import OperationalError, transaction
from django.utils import timezone

from syllabus.engine.record import record as engine
from syllabus.engine.rules.rulebook import Rules
from syllabus.engine.time.units import parse_time
from syllabus.law import instructing
from syllabus.models import SchoolMinimum
from tests.support import audits, factories, lessons
from tests.support.cast import Cast
from training import models, record
from training.ledger.core import assertions
from training.models import AccessLog, AuditRun, Finding, Resolution
from training.services.audit import finding_pages, findings
from training.services.lessons import sign_offs
from training.services.people import people as managing
from training.services.spreadsheets import safe

pytestmark = pytest.mark.django_db
D = dt.date
SOLO = D(2026, 3, 2)
IDA = engine.Instructor("Ida Example", "0000001CFI")
ON = D(2026, 11, 20)


def evening(day: dt.date) -> dt.datetime:
    return dt.datetime.combine(day, dt.time(23), dt.UTC)


def flown(day: dt.date = SOLO, **more: Any) -> engine.Flight:
    return engine.Flight(
        **{
            "id": f"f-{day}",
            "date": day,
            "aircraft": engine.Aircraft("N00XY", "C172", "airplane", "single-engine land"),
            "route": (),
            "times": {"total": parse_time("1 h"), "solo": parse_time("1 h")},
            "recorded": evening(day),
            **more,
        }
    )


def stored(people: Cast, **parts: Any) -> None:
    factories.in_time(people.sam, engine.Record(**parts), at=evening(ON))
    people.sam.refresh_from_db()


def audited(people: Cast, on: dt.date = ON, at: dt.datetime | None = None) -> findings.Done:
    return findings.recompute(people.school, on, at=at or evening(on), by=people.ada, via="test")


def kinds(done: findings.Done) -> list[str]:
    return sorted(each.kind for each in done.standing)


def test_a_finding_is_kept_once_and_found_again(people: Cast) -> None:
    stored(people, flights=(flown(),))
    first, again = audited(people), audited(people, at=evening(ON) + dt.timedelta(hours=1))
    assert kinds(first) == kinds(again) == ["entry-incomplete", "solo-first"]
    assert (first.new, again.new, again.returned, again.gone) == (2, 0, 0, 0)
    assert Finding.objects.count() == 2
    for each in Finding.objects.all():
        assert (each.first_seen, each.last_seen) == (evening(ON), evening(ON) + dt.timedelta(hours=1))
    assert AuditRun.objects.count() == 2


def test_each_reading_of_a_record_is_logged(people: Cast) -> None:
    audited(people)
    assert (
        AccessLog.objects.filter(student=people.sam, what="audit of the school", user=people.ada).count() == 1
    )


def test_one_that_is_mended_is_gone_and_stays_and_tells_when_it_comes_back(people: Cast) -> None:
    stored(people, flights=(flown(),))
    audited(people)
    lacks = Finding.objects.get(kind="entry-incomplete")
    findings.resolve(lacks, how="correction", note="Typed in.", by=people.ada, at=evening(ON), via="test")
    stored(people, flights=(flown(route=audits.route("KGRB", "KGRB")),))
    mended = audited(people, at=evening(ON) + dt.timedelta(hours=1))
    lacks.refresh_from_db()
    assert (mended.gone, lacks.gone_at) == (1, evening(ON) + dt.timedelta(hours=1))
    stored(people, flights=(flown(),))
    back = audited(people, at=evening(ON) + dt.timedelta(hours=2))
    lacks.refresh_from_db()
    assert (back.returned, lacks.gone_at) == (1, None)
    assert lacks.returned_at == evening(ON) + dt.timedelta(hours=2)
    shown = findings.listed(people.school, kind="entry-incomplete").get()
    assert findings.state_of(shown) == "open"
    again = {"how": "correction", "note": "Typed in.", "by": people.ada, "via": "test"}
    findings.resolve(lacks, **again, at=evening(ON) + dt.timedelta(hours=3))
    assert Resolution.objects.filter(finding=lacks).count() == 2
    assert findings.state_of(findings.find(people.ada, lacks.ref)) == "resolved"


def test_one_that_is_found_otherwise_is_open_again(people: Cast) -> None:
    stored(people, flights=(flown(),))
    audited(people)
    solo = Finding.objects.get(kind="solo-first")
    findings.resolve(solo, how="note", note="Told the school.", by=people.ada, at=evening(ON), via="test")
    seen = engine.Document("d1", "english-proficiency", D(2026, 1, 1), recorded=evening(D(2026, 1, 1)))
    stored(people, flights=(flown(),), documents=(seen,))
    audited(people, at=evening(ON) + dt.timedelta(hours=1))
    solo.refresh_from_db()
    assert solo.changed_at == evening(ON) + dt.timedelta(hours=1)
    assert findings.state_of(findings.find(people.ada, solo.ref)) == "open"


@pytest.mark.any_database  # others here and test_nightly_audit make these queries on SQLite
def test_an_older_audit_that_ends_later_changes_nothing(people: Cast) -> None:
    audited(people, at=evening(ON) + dt.timedelta(hours=1))
    stored(people, flights=(flown(),))
    audited(people)
    assert not Finding.objects.exists()
    assert AuditRun.objects.count() == 1


def test_an_earlier_day_asked_about_again_changes_nothing(people: Cast) -> None:
    stored(people, flights=(flown(), flown(D(2026, 3, 9))))
    audited(people)
    before = list(Finding.objects.order_by("pk").values())
    again = audited(people, SOLO, at=evening(ON) + dt.timedelta(hours=1))
    assert (again.kept, {each.day for each in again.standing}) == (False, {SOLO})
    assert list(Finding.objects.order_by("pk").values()) == before
    status, told = command("--on", "2026-03-02")
    assert (status, "was not saved" in told, "2026-03-09" in told) == (1, True, False)
    assert len(json.loads(command("--on", "2026-03-02", "--json")[1])["findings"]) == 2


def test_days_after_the_one_asked_about_are_not_told(people: Cast) -> None:
    stored(people, flights=(flown(), flown(D(2026, 3, 9))))
    assert {each.day for each in audited(people, D(2026, 3, 2)).standing} == {SOLO}


def test_a_resolution_is_written_once(people: Cast) -> None:
    made = findings.resolve(
        audits.stands(people), how="nothing", note="It is over.", by=people.ada, at=audits.AT, via="test"
    )
    with pytest.raises(Exception, match="never changed or deleted"), transaction.atomic():
        Resolution.objects.filter(pk=made.pk).update(note="Other words.")


@pytest.mark.any_database  # others here read resolutions on SQLite
@pytest.mark.parametrize(
    ("tamper", "told"),
    [
        pytest.param({"note": "Other words."}, "differs from ledger entry", id="another note"),
        pytest.param({"how": "correction"}, "differs from ledger entry", id="another way"),
        pytest.param({"ledger_index": 99}, "which is not a finding.resolved", id="another entry"),
        pytest.param(None, "has no row", id="taken out"),
    ],
)
def test_a_resolution_that_is_not_what_was_sealed_is_a_finding(
    people: Cast, tamper: dict[str, Any] | None, told: str
) -> None:
    made = findings.resolve(
        audits.stands(people), how="nothing", note="It is over.", by=people.ada, at=audits.AT, via="test"
    )
    assert "record-altered" not in kinds(audited(people))
    with lessons.unguarded():
        rows = Resolution.objects.filter(pk=made.pk)
        rows.delete() if tamper is None else rows.update(**tamper)
    done = audited(people, at=evening(ON) + dt.timedelta(hours=1))
    says = [each.body["says"] for each in done.standing if each.kind == "record-altered"]
    assert any(told in each for each in says)


@pytest.mark.any_database  # others here make these queries on SQLite
def test_a_draft_of_today_waits_and_one_of_yesterday_is_told(people: Cast) -> None:
    draft = lessons.draft(people)
    assert kinds(audited(people, SOLO)) == []
    done = audited(people, SOLO + dt.timedelta(days=1), at=evening(D(2026, 3, 4)))
    assert [(each.kind, each.body["entries"][0]["id"]) for each in done.standing] == [
        ("lesson-unsigned", str(draft.pk))
    ]


@pytest.mark.any_database  # others here make these queries on SQLite
def test_a_lesson_that_is_only_planned_is_never_unsigned(people: Cast) -> None:
    planned = {"items": [{"item": "presolo.d-01", "grade": "not-observed"}], "comments": "Bring the charts."}
    lessons.draft(people, planned)
    assert kinds(audited(people)) == []
    graded = {"items": [{"item": "presolo.d-01", "grade": "practice"}]}
    lessons.draft(people, graded)
    assert kinds(audited(people, at=evening(ON) + dt.timedelta(hours=1))) == ["lesson-unsigned"]


@pytest.mark.any_database  # others here and test_sign_offs make these queries on SQLite
def test_a_correction_waits_from_the_day_it_was_written(people: Cast) -> None:
    lesson = lessons.signed(people)
    written = evening(D(2026, 6, 1))
    sign_offs.correct(
        lesson,
        id=uuid.uuid4(),
        reason="another aircraft",
        content=lessons.flown(remarks="calm"),
        by=people.ida,
        at=written,
        via="api",
    )
    assert "lesson-unsigned" not in kinds(audited(people, D(2026, 6, 1), at=written))
    done = audited(people, D(2026, 6, 2), at=evening(D(2026, 6, 2)))
    [told] = [each for each in done.standing if each.kind == "lesson-unsigned"]
    assert "The correction of the lesson of 2026-03-02, written 2026-06-01, drafted by" in told.body["says"]
    assert "was not signed 1 day later" in told.body["says"]


def test_a_record_that_cannot_be_audited_is_told_and_stops_no_other(
    people: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    stored(people, flights=(flown(),))
    other = factories.student(people.school, name="Ola Example")
    factories.recorded(other, flights=(flown(D(2026, 3, 9)),), at=evening(ON))
    assert len(audited(people).standing) == 4
    read = record.of

    def broken(student: models.Student, **given: Any) -> engine.Record:
        if student.pk == people.sam.pk:
            raise ArithmeticError("no such day")
        return read(student, **given)

    with monkeypatch.context() as breaking:
        breaking.setattr(record, "of", broken)
        done = audited(people, at=evening(ON) + dt.timedelta(hours=1))
    told = [(each.kind, str(each.student)) for each in done.standing]
    assert sorted(told) == [
        ("entry-incomplete", "Ola Example"),
        ("not-audited", "Sam Example"),
        ("solo-first", "Ola Example"),
    ]
    assert "ArithmeticError: no such day" in next(iter(done.standing)).body["says"]
    # What was found about Sam before is not gone: nobody looked.
    assert done.gone == 0
    assert Finding.objects.filter(student=people.sam, gone_at=None).count() == 3
    mended = audited(people, at=evening(ON) + dt.timedelta(hours=2))
    assert (mended.gone, mended.new) == (1, 0)
    assert Finding.objects.get(gone_at__isnull=False).kind == "not-audited"


def test_a_database_that_fails_is_nothing_about_a_record(
    people: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    def gone(*_: Any, **__: Any) -> engine.Record:
        raise OperationalError("the server closed the connection")

    monkeypatch.setattr(record, "of", gone)
    with pytest.raises(OperationalError):
        audited(people)
    assert not Finding.objects.exists()


def test_hours_are_counted_by_the_number_in_force_when_they_began(
    people: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Five hours in a day: allowed until the change, too many after it."""
    now = instructing.current()["faa"]
    versions = [
        each if each.last else dataclasses.replace(each, params={**each.params, "most": parse_time("4 h")})
        for each in now["hours-in-24"]
    ]
    changed = Rules({**now, "hours-in-24": tuple(versions)})
    monkeypatch.setattr(instructing, "current", lambda: {"faa": changed})
    flights = []
    for day in (D(2024, 11, 20), D(2024, 12, 20)):
        for hour in (13, 17):
            off = dt.datetime.combine(day, dt.time(hour), dt.UTC)
            on, logged = off + dt.timedelta(hours=2, minutes=30), parse_time("2.5 h")
            flights.append(
                dataclasses.replace(
                    dual(day), id=f"{day}-{hour}", times={"total": logged, "dual": logged}, off=off, on=on
                )
            )
    stored(people, flights=tuple(flights))
    told = [each for each in audited(people).standing if each.kind == "training-hours"]
    assert [each.day for each in told] == [D(2024, 12, 20)]
    assert "at most 4.0 h are allowed" in told[0].body["says"]


@pytest.mark.any_database  # others here and test_own_minimums make these queries on SQLite
@pytest.mark.parametrize(
    ("day", "hours", "told"),
    [
        pytest.param(D(2026, 2, 28), "9 h", False, id="the day before it was asked for"),
        pytest.param(D(2026, 3, 1), "9 h", True, id="the first day"),
        pytest.param(D(2026, 3, 31), "9 h", True, id="the last day"),
        pytest.param(D(2026, 4, 1), "9 h", False, id="the day after it ended"),
        pytest.param(D(2026, 3, 15), "10 h", False, id="just as much as is asked for"),
    ],
)
def test_a_minimum_of_the_school_is_told_as_the_schools(
    people: Cast, day: dt.date, hours: str, told: bool
) -> None:
    SchoolMinimum.objects.create(
        school_ref="lakeside", milestone="faa.first-solo", code="dual", kind="total_at_least",
        params={"counts": ["dual"], "need": "10 h"}, says="10 hours with an instructor before solo",
        starts=D(2026, 3, 1), ends=D(2026, 3, 31),
    )  # fmt: skip
    before = dataclasses.replace(
        dual(D(2026, 1, 10)), times={"total": parse_time(hours), "dual": parse_time(hours)}
    )
    stored(people, flights=(before, flown(day)))
    found = [each for each in audited(people).standing if each.kind == "school-minimum"]
    assert len(found) == told
    for each in found:
        assert each.severity == "note"
        assert each.body["citations"] == ["the school's own minimum, not a regulation"]
        assert "below the school's own minimum. 10 hours with an instructor" in each.body["says"]
        assert each.body["entries"] == [{"student": str(people.sam.ref), "id": f"f-{day}"}]
    # The law's own findings are those that there are without it.
    [law] = [
        each
        for each in audited(people, at=evening(ON) + dt.timedelta(hours=1)).standing
        if each.kind == "solo-first"
    ]
    assert all("own minimum" not in each for each in law.body["citations"])


def test_a_recommendation_below_the_schools_minimum_is_told_beside_the_laws_gap(people: Cast) -> None:
    SchoolMinimum.objects.create(
        school_ref="lakeside", milestone="faa.private-practical-test", code="total", kind="total_at_least",
        params={"counts": ["total"], "need": "55 h"}, says="55 hours in all", starts=D(2026, 1, 1),
    )  # fmt: skip
    stored(people, endorsements=(engine.Endorsement("e1", "practical-test", D(2026, 3, 10), IDA),))
    found = {each.kind: each.body for each in audited(people).standing}
    assert found["school-minimum"]["says"].endswith("below the school's own minimum. 55 hours in all.")
    assert "55 hours" not in found["recommendation-gap"]["says"]


def test_a_school_that_waits_a_week_is_told_after_it(people: Cast) -> None:
    models.School.objects.filter(pk=people.school.pk).update(late_after_days=7)
    people.school.refresh_from_db()
    lessons.draft(people)
    at = evening(D(2026, 3, 30))
    assert kinds(audited(people, D(2026, 3, 9), at=at)) == []
    assert kinds(audited(people, D(2026, 3, 10), at=at)) == ["lesson-unsigned"]


def test_a_corrected_lesson_asks_for_one_acknowledgement(people: Cast) -> None:
    lesson = lessons.signed(people)
    done = audited(people)
    told = [each for each in done.standing if each.kind == "lesson-unacknowledged"]
    assert [each.body["entries"][0]["id"] for each in told] == [str(lesson.pk)]


def test_what_was_sealed_and_changed_is_a_finding(people: Cast) -> None:
    lesson = lessons.signed(people)
    with lessons.unguarded():
        models.Flight.objects.filter(entry_id__startswith=str(lesson.pk)).update(remarks="other words")
    [told] = [each for each in audited(people).standing if each.kind == "record-altered"]
    assert "differs from what was signed" in told.body["says"]


def test_a_passkeys_signature_of_a_resolution_is_over_what_was_done() -> None:
    body = {"finding": "x", "digest": "d", "how": "note", "note": "n"}
    about, digest = assertions._SIGNED["finding.resolved"](body)
    assert (about, digest) == ("x", assertions.hash_of('{"digest":"d","how":"note","note":"n"}'))


def dual(day: dt.date) -> engine.Flight:
    hour = {"total": parse_time("1 h"), "dual": parse_time("1 h")}
    return flown(day, times=hour, instructor=IDA, route=audits.route("KGRB", "KGRB"), remarks="stalls")


@pytest.mark.any_database  # others here, test_people and test_courses_at_once make these queries on SQLite
@pytest.mark.parametrize(
    ("day", "told"),
    [
        pytest.param(D(2026, 6, 30), None, id="the last day that was on record"),
        pytest.param(D(2026, 7, 1), (True, False), id="the day after it"),
        pytest.param(D(2026, 7, 19), (True, False), id="the day before the renewal came on record"),
        pytest.param(D(2026, 7, 20), None, id="the day of the renewal"),
        pytest.param(D(2026, 9, 1), (False, False), id="after the end that is on record now"),
    ],
)
def test_recent_experience_as_known_then_and_now(
    people: Cast, day: dt.date, told: tuple[bool, bool] | None
) -> None:
    role = models.Role.objects.get(pk=audits.idas_role(people))
    for until, at in ((D(2026, 6, 30), D(2026, 1, 2)), (D(2026, 8, 31), D(2026, 7, 20))):
        changed = {"recent_experience_until": until}
        managing.change(role, changed, by=people.ada, at=dt.datetime.combine(at, dt.time(18), dt.UTC))
    stored(people, flights=(dual(day),))
    lapsed = [each for each in audited(people).standing if each.kind == "training-lapsed"]
    known = [(each.body["known"]["now"], each.body["known"]["then"]) for each in lapsed]
    assert known == ([] if told is None else [told])
    assert [each.severity for each in lapsed] == (
        ["incomplete"] if told == (True, False) else ["serious"] * len(lapsed)
    )


def test_an_instructor_who_left_is_still_known(people: Cast) -> None:
    stored(people, flights=(dual(SOLO),))
    role = models.Role.objects.get(pk=audits.idas_role(people))
    models.Role.objects.filter(pk=role.pk).update(recent_experience_until=SOLO - dt.timedelta(days=1))
    role.refresh_from_db()
    managing.end(role, by=people.ada, at=evening(D(2026, 5, 1)))
    assert kinds(audited(people)) == ["training-lapsed"]


# The command


def deadlock() -> OperationalError:
    fault = OperationalError("deadlock detected")
    fault.__cause__ = psycopg.errors.DeadlockDetected("deadlock detected")
    return fault


def command(*given: str) -> tuple[int, str]:
    out = io.StringIO()
    try:
        call_command("audit", "--school", "lakeside", *given, stdout=out)
    except SystemExit as ended:
        return int(ended.code or 0), out.getvalue()
    return 0, out.getvalue()


def test_a_clean_school_ends_with_0(people: Cast) -> None:
    status, told = command()
    assert (status, "No open findings." in told) == (0, True)


@pytest.mark.any_database  # others here make these queries on SQLite
def test_findings_end_with_1_until_they_are_dealt_with(people: Cast) -> None:
    stored(people, flights=(flown(),))
    status, told = command("--on", "2026-03-05")
    assert status == 1
    assert "SERIOUS Solo outside the days on which it was allowed: Sam Example" in told
    assert "14 CFR 61.87(n)" in told
    for each in Finding.objects.all():
        findings.resolve(each, how="note", note="x", by=people.ada, at=timezone.now(), via="test")
    assert command("--on", "2026-03-05")[0] == 0
    assert "[resolved]" in command("--on", "2026-03-05", "--all")[1]


def test_as_json(people: Cast) -> None:
    stored(people, flights=(flown(),))
    status, told = command("--json")
    document = json.loads(told)
    assert (status, document["students"], len(document["findings"])) == (1, 1, 2)
    solo = next(each for each in document["findings"] if each["kind"] == "solo-first")
    assert solo["known"] == {"now": False, "then": False}
    entry = {"student": str(people.sam.ref), "id": "f-2026-03-02", "provenance": "attested"}
    assert solo["entries"] == [entry]


def test_as_a_table_no_cell_is_a_formula(people: Cast) -> None:
    stored(people, flights=(flown(id='=cmd|" /C calc"!A1'),))
    models.Student.objects.filter(pk=people.sam.pk).update(name="+Sam")
    status, told = command("--csv")
    rows = list(csv.DictReader(io.StringIO(told)))
    assert (status, len(rows)) == (1, 2)
    assert {each["student"] for each in rows} == {"'+Sam"}
    assert all(each["entries"].startswith("'=") for each in rows)


@pytest.mark.parametrize(
    ("cell", "shown"),
    [
        pytest.param("=1+1", "'=1+1", id="a formula"),
        pytest.param("+1", "'+1", id="a plus"),
        pytest.param("-1", "'-1", id="a minus"),
        pytest.param("@SUM", "'@SUM", id="an at sign"),
        pytest.param("\tx", "'\tx", id="a tab"),
        pytest.param("\r=1", "'\r'=1", id="a carriage return"),
        pytest.param("  =1", "'  =1", id="spaces before it"),
        pytest.param("＝1", "'＝1", id="a wide equals sign"),
        pytest.param("a=1", "a=1", id="in the middle it is none"),
        pytest.param("Sam;=1;@x", "Sam;'=1;'@x", id="where semicolons part cells"),
        pytest.param("Sam\n=1", "Sam\n'=1", id="on a line of its own"),
        pytest.param("Sam;\u00a0 +1", "Sam;\u00a0 '+1", id="after spaces there"),
        pytest.param("61.39; 61.103 - in all", "61.39; 61.103 - in all", id="plain words stay"),
        pytest.param("", "", id="an empty cell"),
    ],
)
def test_a_cell_is_no_formula(cell: str, shown: str) -> None:
    assert safe(cell) == shown


@pytest.mark.any_database  # others here make these queries on SQLite
def test_as_a_workbook_no_cell_is_a_formula(people: Cast, tmp_path: pathlib.Path) -> None:
    stored(people, flights=(flown(id="=1+1"),))
    status, _ = command("--xlsx", str(tmp_path / "audit.xlsx"))
    [sheet] = openpyxl.load_workbook(tmp_path / "audit.xlsx")
    cells = [each for row in sheet.iter_rows() for each in row if each.value]
    assert (status, sheet.max_row) == (1, 3)
    assert not [each for each in cells if each.data_type == "f" or str(each.value).startswith("=")]
    with pytest.raises(CommandError, match="--xlsx"):
        command("--xlsx", str(tmp_path / "nowhere" / "audit.xlsx"))
    with pytest.raises(CommandError, match=r"--pdf .*No such file"):
        command("--pdf", str(tmp_path / "nowhere" / "audit.pdf"))


def test_the_whole_audit_as_pages(people: Cast, tmp_path: pathlib.Path) -> None:
    stored(people, flights=(flown(),))
    file = tmp_path / "audit.pdf"
    assert command("--pdf", str(file))[0] == 1
    first = file.read_bytes()
    assert first.startswith(b"%PDF-")
    assert b"/StructTreeRoot" in first
    run = findings.last_run(people.school)
    assert run
    assert (
        finding_pages.report(people.school, run, finding_pages.choose(findings.listed(people.school)))
        == first
    )

    solo = Finding.objects.get(kind="solo-first")
    findings.resolve(solo, how="note", note="Asked Sam.", by=people.ada, at=timezone.now(), via="test")
    told = finding_pages.page(people.school, run, finding_pages.choose(findings.listed(people.school)))
    assert [(each["title"], len(each["findings"])) for each in told["groups"]] == [
        ("Serious", 1),
        ("Incomplete", 1),
    ]
    assert told["counts"] == [
        ["Solo outside the days on which it was allowed", "Serious", 0, 1, 0],
        ["Entry without required details", "Incomplete", 1, 0, 0],
    ]
    facts = dict(told["groups"][0]["findings"][0]["facts"])
    assert "by Ada Example: note. Asked Sam. Ledger entry 0." in facts["Resolved"]
    assert "14 CFR 61.87(n)" in facts["Rule"]
    assert facts["Entries"] == "Flight of 2026-03-02, 1.0 h in N00XY"
    assert command("--pdf", str(file))[0] == 1
    assert file.read_bytes() != first


@pytest.mark.parametrize(
    ("fault", "why"),
    [
        pytest.param(deadlock(), "deadlock", id="the database ended it"),
        pytest.param(ArithmeticError("no such day"), "ArithmeticError", id="an error of ours"),
    ],
)
def test_an_audit_that_died_is_no_audit_with_open_findings(
    people: Cast, monkeypatch: pytest.MonkeyPatch, fault: Exception, why: str
) -> None:
    def dies(*given: Any, **more: Any) -> None:
        raise fault

    monkeypatch.setattr(findings, "recompute", dies)
    with pytest.raises(CommandError, match=rf"The audit did not finish \({why}\)") as ended:
        command()
    assert ended.value.returncode == 3


def test_a_school_there_is_not_and_a_day_to_come(people: Cast) -> None:
    with pytest.raises(CommandError, match="No school 'nowhere'") as ended:
        call_command("audit", "--school", "nowhere")
    assert ended.value.returncode == 2
    with pytest.raises(CommandError, match="is in the future"):
        call_command("audit", "--school", "lakeside", "--on", "2150-01-01")
