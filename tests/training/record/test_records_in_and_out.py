"""Record documents come in and go out: by service and by command, with every fault named."""

import datetime as dt
import io
import json

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from syllabus.engine.errors import DocumentError
from tests.support import factories
from tests.support.cast import Cast
from training import models
from training.models import AccessLog, Student
from training.services import access
from training.services.errors import NotAllowed
from training.services.records import records

NOON = dt.datetime(2026, 11, 24, 12, tzinfo=dt.UTC)
WHY = "from the paper logbook"
# 23:00 in Wisconsin, already the next day in UTC
LATE = dt.datetime(2026, 11, 25, 5, tzinfo=dt.UTC)

DOCUMENT = {
    "format": "training-record/1",
    "student": {"name": "Ada Example", "birth_date": "2012-05-17"},
    "flights": [
        {
            "id": "f1",
            "date": "2026-03-02",
            "route": ["KGRB", "KMTW", {"name": "grass strip", "lat": 44.1, "lon": -87.9}, "KGRB"],
            "off": "2026-03-02T19:40:00-06:00",
            "times": {"total": "1.4 h", "dual": "84 min", "night": "0.6 h"},
            "landings": [{"at": "KMTW", "takeoffs": 3, "landings": 3, "period": "night"}],
            "instructor": {"name": "Bo Example", "certificate": "0000001CFI"},
        }
    ],
}
FAULTY = {
    "format": "training-record/1",
    "flights": [{"date": "2026-02-30", "timez": {}}, {"date": "2026-03-02", "times": {"total": "1.4 NM"}}],
}


def test_a_new_student_is_enrolled_and_taught_by_the_instructor_who_brought_the_record(people: Cast):
    done = records.import_document(
        DOCUMENT, school=people.school, by=people.ida, at=LATE, via="api", reason=WHY
    )

    student = done.student
    assert done.created
    assert (student.name, student.birth_date) == ("Ada Example", dt.date(2012, 5, 17))
    assert student.enrolments.get().starts == dt.date(2026, 11, 24)
    assert access.may(people.ida, access.WRITE, student, on=dt.date(2026, 11, 25))
    assert done.change.by == people.ida


def test_an_administrator_does_not_become_the_instructor(people: Cast):
    done = records.import_document(
        DOCUMENT, school=people.school, by=people.ada, at=NOON, via="api", reason=WHY
    )

    assert not done.student.assignments.exists()


def test_what_went_in_comes_out(people: Cast):
    records.import_document(DOCUMENT, student=people.sam, by=people.ida, at=NOON, via="api", reason=WHY)
    out = records.export_document(people.sam, by=people.sams_account, at=NOON, via="api")

    assert {key: value for key, value in out.items() if value} == {
        **DOCUMENT,
        "flights": [
            {
                **DOCUMENT["flights"][0],
                "times": {"total": "1.4 h", "dual": "1.4 h", "night": "0.6 h"},
                "provenance": "claimed",
            }
        ],
    }
    assert [(each.action, each.user, each.via) for each in AccessLog.objects.all()] == [
        ("write", people.ida, "api"),
        ("read", people.sams_account, "api"),
    ]


def test_an_export_of_an_earlier_state_says_since_when_each_entry_was_known(people: Cast):
    records.import_document(DOCUMENT, student=people.sam, by=people.ida, at=NOON, via="api", reason=WHY)

    out = records.export_document(people.sam, by=people.ida, at=LATE, via="api", known_at=NOON)
    assert [flight["recorded"] for flight in out["flights"]] == ["2026-11-24T12:00:00+00:00"]

    before = records.export_document(
        people.sam, by=people.ida, at=LATE, via="api", known_at=NOON - dt.timedelta(seconds=1)
    )
    assert before["flights"] == []


@pytest.mark.parametrize("who", ["olaf", "ottos_account", "sams_account"])
def test_who_may_not_write_writes_nothing(people: Cast, who):
    user = getattr(people, who)
    with pytest.raises(NotAllowed, match="may not write"):
        records.import_document(DOCUMENT, student=people.sam, by=user, at=NOON, via="api", reason=WHY)
    with pytest.raises(NotAllowed, match="is neither an instructor nor an administrator"):
        records.import_document(DOCUMENT, school=people.school, by=user, at=NOON, via="api", reason=WHY)

    assert not models.RecordChange.objects.exists()
    assert not AccessLog.objects.exists()


@pytest.mark.parametrize("who", ["olaf", "ottos_account"])
def test_who_may_not_read_reads_nothing(people: Cast, who):
    with pytest.raises(NotAllowed, match="may not read"):
        records.export_document(people.sam, by=getattr(people, who), at=NOON, via="api")


def test_a_faulty_document_writes_nothing_and_lists_every_fault(people: Cast):
    with pytest.raises(DocumentError) as refused:
        records.import_document(FAULTY, school=people.school, by=people.ida, at=NOON, via="api", reason=WHY)

    assert [fault.place for fault in refused.value.errors] == [
        "flights[0].date",
        "flights[0].timez",
        "flights[1].times.total",
    ]
    assert Student.objects.count() == 2


# The commands


def imported(*arguments: str) -> tuple[str, str, int]:
    """The same of an import by the office, unless the arguments name somebody else."""
    by = () if "--by" in arguments else ("--by", "ada@lakeside.example")
    return run("import_record", *arguments, *by, "--reason", WHY)


def run(command: str, *arguments: str) -> tuple[str, str, int]:
    """What a command printed on standard output and on standard error, and its exit code."""
    out, err = io.StringIO(), io.StringIO()
    try:
        call_command(command, *arguments, stdout=out, stderr=err)
    except SystemExit as stop:
        return out.getvalue(), err.getvalue(), int(stop.code or 0)
    except CommandError as problem:
        return out.getvalue(), str(problem), problem.returncode
    return out.getvalue(), err.getvalue(), 0


@pytest.fixture
def document(tmp_path):
    def written(content: object) -> str:
        path = tmp_path / "record.json"
        path.write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
        return str(path)

    return written


def test_a_file_becomes_a_new_students_record_and_comes_out_again(people: Cast, document):
    out, err, code = imported(document(DOCUMENT), "--school", "lakeside")

    student = Student.objects.get(name="Ada Example")
    assert (out, err, code) == (f"Ada Example ({student.ref}): new student; entries: 1 added\n", "", 0)

    out, err, code = run("export_record", str(student.ref))
    assert (err, code) == ("", 0)
    assert json.loads(out)["flights"][0]["route"][2] == {"name": "grass strip", "lat": 44.1, "lon": -87.9}


def test_a_file_takes_the_place_of_a_students_record(people: Cast, document):
    arguments = (document(DOCUMENT), "--school", "lakeside", "--student", str(people.sam.ref))
    out, _, code = imported(*arguments, "--by", "IDA@lakeside.example")
    assert (out, code) == (f"Ada Example ({people.sam.ref}): entries: 1 added\n", 0)
    assert models.RecordChange.objects.get().by == people.ida

    out, _, code = imported(*arguments)
    assert (out, code) == (f"Ada Example ({people.sam.ref}): no changes\n", 0)


def test_an_empty_record_of_a_new_student(people: Cast, document):
    out, _, code = imported(document({"format": "training-record/1"}), "--school", "lakeside")

    assert (out.endswith("new student with an empty record\n"), code) == (True, 0)


def test_standard_input_is_read_for_a_hyphen(people: Cast, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(json.dumps(DOCUMENT).encode())))
    _, err, code = imported("-", "--school", "lakeside")

    assert (err, code) == ("", 0)
    assert Student.objects.filter(name="Ada Example").exists()


def test_faults_of_standard_input_are_said_to_be_its_own(people: Cast, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(json.dumps(FAULTY).encode())))
    out, err, code = imported("-", "--school", "lakeside")

    assert (out, code) == ("", 2)
    assert err.startswith("standard input: Nothing imported; 3 errors:\n")


@pytest.mark.parametrize(
    ("content", "places"),
    [
        pytest.param(FAULTY, ["flights[0].date", "flights[0].timez", "flights[1].times.total"], id="faults"),
        pytest.param('{"format": ', ["line 1, column 12"], id="text that is no JSON"),
        pytest.param([], ["a list"], id="no object"),
    ],
)
def test_every_fault_is_listed_and_nothing_is_written(people: Cast, document, content, places):
    out, err, code = imported(document(content), "--school", "lakeside")

    assert (out, code) == ("", 2)
    assert "Nothing imported" in err
    assert "Traceback" not in err
    for place in places:
        assert place in err
    assert Student.objects.count() == 2


WRONG = [
    pytest.param(["/no/such/file", "--school", "lakeside"], "cannot be read", id="no file"),
    pytest.param(["FILE", "--school", "nowhere"], "Known schools: hilltop, lakeside", id="no school"),
    pytest.param(
        ["FILE", "--school", "lakeside", "--student", "sam"], "not a student reference", id="no UUID"
    ),
    pytest.param(
        ["FILE", "--school", "lakeside", "--student", "00000000-0000-0000-0000-000000000007"],
        "No student at lakeside",
        id="no student",
    ),
    pytest.param(
        ["FILE", "--school", "hilltop", "--student", "SAM"], "No student at hilltop", id="another school"
    ),
    pytest.param(["FILE", "--school", "lakeside", "--by", "x@y.example"], "No user with", id="no user"),
    pytest.param(
        ["FILE", "--school", "lakeside", "--by", "olaf@hilltop.example"],
        "is neither an instructor nor",
        id="not theirs",
    ),
]


@pytest.mark.parametrize(("arguments", "said"), WRONG)
def test_what_does_not_fit_is_named(people: Cast, document, arguments, said):
    real = {"FILE": document(DOCUMENT), "SAM": str(people.sam.ref)}
    out, err, code = imported(*(real.get(each, each) for each in arguments))

    assert (out, code) == ("", 2)
    assert said in err
    assert not models.RecordChange.objects.exists()


def test_an_export_as_known_at_an_instant(people: Cast):
    factories.recorded(people.sam, at=NOON)
    out, _, code = run("export_record", str(people.sam.ref), "--known-at", "2026-11-24T06:00:00-06:00")
    assert (json.loads(out)["format"], code) == ("training-record/1", 0)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        pytest.param(["sam"], "not a student reference", id="no reference"),
        pytest.param(
            ["SAM", "--known-at", "2026-11-24T12:00"], "no offset from UTC", id="an instant without offset"
        ),
        pytest.param(["SAM", "--by", "olaf@hilltop.example"], "may not read", id="not theirs"),
    ],
)
def test_an_export_that_does_not_fit_is_refused(people: Cast, arguments, said):
    out, err, code = run("export_record", *(str(people.sam.ref) if a == "SAM" else a for a in arguments))

    assert (out, code) == ("", 2)
    assert said in err


TO_COME = {
    "certificates": {"id": "x", "kind": "student", "issued": "2026-11-25"},
    "flights": {"id": "x", "date": "2026-11-25"},
    "ground": {"date": "2026-11-25"},
    "items": {"item": "presolo.d-01", "date": "2026-11-25", "grade": "perform"},
    "documents": {"kind": "english-proficiency", "issued": "2026-11-25"},
    "tests": {"kind": "pre-solo-knowledge", "date": "2026-11-25", "result": "pass"},
    "endorsements": {"kind": "solo-90-day", "given": "2026-11-25"},
}


@pytest.mark.any_database  # others here and test_versions make these queries on SQLite
@pytest.mark.parametrize("part", TO_COME)
def test_an_entry_that_is_still_to_come_is_refused_by_name(people: Cast, part: str):
    """By the school's clock, on which it is still the 24th at LATE."""
    key = next(key for key in ("date", "issued", "given") if key in TO_COME[part])
    whole = {**DOCUMENT, part: [*DOCUMENT.get(part, []), TO_COME[part]]}
    number = len(whole[part]) - 1
    with pytest.raises(DocumentError) as refused:
        records.import_document(whole, student=people.sam, by=people.ida, at=LATE, via="api", reason=WHY)
    assert [str(each) for each in refused.value.errors] == [
        f"{part}[{number}].{key}: 2026-11-25 is in the future; today is 2026-11-24"
    ]
    assert not models.RecordChange.objects.exists()
    day_after = LATE + dt.timedelta(hours=1)
    records.import_document(whole, student=people.sam, by=people.ida, at=day_after, via="api", reason=WHY)
    assert models.RecordChange.objects.exists()


@pytest.mark.parametrize("part", TO_COME)
def test_an_entry_from_before_the_birth_is_refused_by_name(people: Cast, part: str):
    key = next(key for key in ("date", "issued", "given") if key in TO_COME[part])
    whole = {**DOCUMENT, part: [*DOCUMENT.get(part, []), {**TO_COME[part], key: "2012-05-16"}]}
    with pytest.raises(DocumentError) as refused:
        records.import_document(whole, student=people.sam, by=people.ida, at=LATE, via="api", reason=WHY)
    assert [str(each) for each in refused.value.errors] == [
        f"{part}[{len(whole[part]) - 1}].{key}: 2012-05-16 is before the student's birth, 2012-05-17"
    ]
    assert not models.RecordChange.objects.exists()


@pytest.mark.parametrize("new", [True, False])
def test_a_birth_that_is_still_to_come_is_refused_by_name(people: Cast, new: bool):
    said = {**DOCUMENT, "student": {"name": "Ada Example", "birth_date": "2026-11-25"}}
    whose = {"school": people.school} if new else {"student": people.sam}
    with pytest.raises(DocumentError) as refused:
        records.import_document(said, **whose, by=people.ida, at=LATE, via="api", reason=WHY)
    assert [str(each) for each in refused.value.errors] == [
        "student.birth_date: 2026-11-25 is in the future; today is 2026-11-24"
    ]
