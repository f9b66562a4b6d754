"""An authority that does not exist is a folder of data, and everything goes through with it.

Part 900 stands in ``another_authority/``: a milestone to fly alone, one to take a test, two endorsements, and
a course. Nothing in the program names any of it.
"""

from __future__ import annotations

import datetime as dt
import io
import json
import pathlib
from collections.abc import Iterator
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from rest_framework.test import APIClient

from syllabus.courses import files, outlines
from syllabus.engine.errors import DocumentError, RuleDataError
from syllabus.engine.record import document
from syllabus.engine.record import record as engine
from syllabus.engine.rules.rulebook import SOLO
from syllabus.engine.time.units import HOUR
from syllabus.law import airworthiness, auditing, endorsements, instructing, retention, rulebook, sources
from syllabus.models import CourseVersion
from tests.support import factories
from tests.support.cast import IDAS_CERTIFICATE, Cast
from tests.support.courses import enrolled
from tests.support.reminding import sweep
from tests.training.web.test_pages import text_of
from training import models, reports
from training.management.commands import eligibility
from training.reports import authorities, own_record, progress
from training.services.audit import findings
from training.services.endorsements import signing_authority
from training.services.records import documents
from training.web.instructor import sheet

HERE = pathlib.Path(__file__).parent / "another_authority"
IDA = engine.Instructor("Ida Example", IDAS_CERTIFICATE)
CRAFT = engine.Aircraft("N00XY", "C172", "airplane", "single-engine land")
#: The permit of that day lives 33 days, so through 6 April.
GIVEN, LAST = dt.date(2026, 3, 4), dt.date(2026, 4, 6)
TODAY = dt.date(2026, 3, 5)
NOON = dt.datetime(2026, 3, 5, 18, tzinfo=dt.UTC)


@pytest.fixture(autouse=True)
def part_900() -> Iterator[None]:
    with sources.added(HERE):
        yield


def flown(entry: str, day: dt.date, hours: int, **times: int) -> engine.Flight:
    alone = "solo" in times
    return engine.Flight(
        entry,
        day,
        CRAFT,
        route=(),
        times={"total": hours * HOUR, **{kind: each * HOUR for kind, each in times.items()}},
        instructor=None if alone else IDA,
    )


def graded(entry: str, item: str) -> engine.ItemGrade:
    return engine.ItemGrade(entry, item, GIVEN, "perform", None, IDA)


def permit(given: dt.date = GIVEN) -> engine.Endorsement:
    return engine.Endorsement("e1", "ex-permit", given, IDA, aircraft_model="C172")


TAUGHT: dict[str, Any] = {
    "flights": (flown("f1", GIVEN, 4, dual=4),),
    "items": (graded("i1", "exalone.a-01"), graded("i2", "exalone.a-02")),
    "endorsements": (permit(),),
}


def presented() -> engine.Endorsement:
    return engine.Endorsement("e2", "ex-presented", GIVEN, IDA)


#: Every citation that a student of part 900 meets.
OF_PART_900 = {"900.11", "900.12(b)", "900.12(c)", "900.13", "900.22", "900.41", "900.51", "no regulation"}


def course() -> CourseVersion:
    outline = files.read_bytes((HERE / "course.yaml").read_bytes(), "course.yaml")
    return outlines.publish(outlines.save(outline).version, NOON - dt.timedelta(days=30))


def student(people: Cast, **parts: Any) -> models.Student:
    """Sam in the course of part 900, with this on record."""
    enrolled(people, course())
    return factories.recorded(people.sam, at=NOON - dt.timedelta(hours=1), **{**TAUGHT, **parts})


# The rules themselves


def test_its_milestones_stand_beside_the_others_only_while_it_is_there() -> None:
    everything = rulebook.current()
    assert [each.id for each in everything.in_role(SOLO)] == ["faa.first-solo", "ex.alone"]
    assert everything.items["exalone.a-02"] == "landing on the short side"
    assert "ex-permit" in endorsements.current().kinds


def test_its_rules_about_aircraft_and_records_are_read_as_well() -> None:
    rope = airworthiness.current().on("ex-rope-check", TODAY)
    assert airworthiness.last_day(rope, TODAY, None) == dt.date(2026, 3, 12)
    assert "annual-inspection" in airworthiness.current()
    [kept] = [each for each in retention.on(TODAY) if each.id == "ex-tests"]
    assert retention.keep_until(kept, TODAY) == dt.date(2037, 3, 5)


def test_its_classes_of_aircraft_are_known_beside_the_others() -> None:
    assert instructing.classes_of("glider") == ("gyroplane",)
    assert instructing.classes_of("rotorcraft") == ("helicopter", "gyroplane")
    assert instructing.classes_of("powered-lift") == ()


@pytest.mark.any_database  # others here and test_search make these queries on SQLite
def test_its_aircraft_rules_are_on_the_school_page(client: Client, people: Cast) -> None:
    client.force_login(people.ada)
    page = text_of(client.get(reverse("school-aircraft", args=[people.school.slug])))
    assert "Check of the tow rope" in page
    assert "900.31" in page


def test_without_the_folder_nothing_of_it_is_known() -> None:
    with sources.added(HERE.parent):  # which has no folder of rules
        pass
    assert "ex.alone" in rulebook.current().milestones
    home = rulebook.load(rulebook.HOME)
    assert home.id != rulebook.current().id
    assert {each.partition(".")[0] for each in home.milestones} == {"faa"}


def test_one_authority_cannot_stand_twice() -> None:
    with sources.added(HERE), pytest.raises(RuleDataError, match=r"ex/alone.yaml: is in two folders"):
        rulebook.current()


# The command line


def test_the_command_line(tmp_path: pathlib.Path, capsys: pytest.CaptureFixture[str]) -> None:
    document = {
        "format": "training-record/1",
        "student": {"name": "Sam Example", "birth_date": "2012-05-17"},
        "flights": [
            {
                "id": "f1",
                "date": "2026-03-04",
                "aircraft": {"model": "C172"},
                "times": {"total": "4 h", "dual": "4 h"},
                "instructor": {"name": "Ida Example", "certificate": IDAS_CERTIFICATE},
            }
        ],
        "items": [
            {
                "id": f"i{number}",
                "item": f"exalone.a-0{number}",
                "date": "2026-03-04",
                "grade": "perform",
                "instructor": {"name": "Ida Example", "certificate": IDAS_CERTIFICATE},
            }
            for number in (1, 2)
        ],
        "endorsements": [
            {
                "id": "e1",
                "kind": "ex-permit",
                "given": "2026-03-04",
                "aircraft_model": "C172",
                "instructor": {"name": "Ida Example", "certificate": IDAS_CERTIFICATE},
            }
        ],
    }
    path = tmp_path / "record.json"
    path.write_text(json.dumps(document))

    def asked(on: dt.date) -> tuple[int, str]:
        out, err = io.StringIO(), io.StringIO()
        words = [str(path), "--toward", "ex.alone", "--context", "aircraft_model=C172", "--on", str(on)]
        with pytest.raises(SystemExit) as end:
            eligibility.Command(stdout=out, stderr=err).run_from_argv(["manage.py", "eligibility", *words])
        assert err.getvalue() == ""
        return int(str(end.value.code)), out.getvalue()

    code, told = asked(LAST)
    assert code == eligibility.ELIGIBLE
    assert "Alone under part 900" in told
    assert "900.12(b)" in told
    assert asked(LAST + dt.timedelta(days=1))[0] == eligibility.NOT_ELIGIBLE
    assert asked(GIVEN - dt.timedelta(days=1))[0] == eligibility.NOT_ELIGIBLE


# The API


def test_the_api(people: Cast) -> None:
    sam = student(people)
    client = APIClient()
    listed = client.get("/api/v1/milestones").json()
    assert [each["id"] for each in listed["milestones"]][-2:] == ["ex.alone", "ex.check"]
    one = client.get("/api/v1/milestones/ex.alone?on=2014-08-31").json()
    by_id = {each["id"]: each for each in one["requirements"]}
    assert by_id["ex.alone.dual"]["in_force"]["parameters"] == {"counts": ["dual"], "need": "2 h"}
    assert by_id["ex.alone.permit"]["versions"][0]["citation"] == "900.13"

    client.force_authenticate(people.ida)
    url = f"/api/v1/students/{sam.ref}/eligibility/ex.alone"
    told = client.get(url, {"on": str(LAST)}).json()
    assert (told["eligible"], told["rulebook"]) == (True, rulebook.current().id)
    late = client.get(url, {"on": str(LAST + dt.timedelta(days=1))}).json()
    assert late["eligible"] is False
    assert [each["id"] for each in late["requirements"] if not each["met"]] == ["ex.alone.permit"]
    for listed in ("eligibility", "changes?from=2026-03-01T00:00:00Z"):
        told = client.get(f"/api/v1/students/{sam.ref}/{listed}")
        assert told.status_code == 200
        assert "faa." not in told.content.decode()
    checked = client.post(
        f"/api/v1/students/{sam.ref}/endorsements/check",
        {"kind": "ex-permit", "endorsement": {"aircraft_model": "C172"}},
        format="json",
    ).json()
    assert (checked["citation"], checked["title"]) == ("900.13", "Permit to fly alone under part 900")


# The pages


@pytest.mark.any_database  # others here and test_search make these queries on SQLite
def test_the_students_pages(client: Client, people: Cast) -> None:
    sam = student(people, endorsements=(), items=TAUGHT["items"][:1])
    client.force_login(people.sams_account)
    with time_machine.travel(NOON, tick=False):
        milestones = text_of(client.get("/milestones/"))
        whole = text_of(client.get(reverse("student", args=[sam.ref])))
        stands = text_of(client.get(reverse("standing", args=[sam.ref])))
        hours = text_of(client.get(reverse("hours", args=[sam.ref])))
    assert "CFR" not in whole + stands + hours
    assert "Alone under part 900" in milestones
    assert "33 days" in whole
    assert "900.12(c)" in whole
    assert "Short side" in stands
    assert "All of your time in the air" in hours
    assert "Hours that count toward the check flight of part 900" in hours


@pytest.mark.any_database  # others here make these queries on SQLite
def test_what_is_missing_is_said_in_its_own_plain_words(people: Cast) -> None:
    from training.web.shared import plain_words

    sam = student(people, endorsements=())
    report = reports.eligibility(sam, "ex.alone", TODAY)
    assert [plain_words.requirement(each.rule) for each in report.unmet()] == [
        "Your instructor permits it in your logbook"
    ]
    assert plain_words.expiring("ex.alone.permit") == "Your part 900 permit to fly alone"


def test_the_instructors_pages(client: Client, people: Cast) -> None:
    sam = student(people, endorsements=())
    client.force_login(people.ida)
    with time_machine.travel(NOON, tick=False):
        listed = text_of(client.get(reverse("endorse", args=[sam.ref])))
        page = text_of(
            client.get(reverse("endorse-kind", args=[sam.ref, "ex-permit"]), {"aircraft_model": "C172"})
        )
        today = text_of(client.get("/today/"))
    assert "CFR" not in page + today + listed
    assert "Permit to fly alone under part 900" in listed
    assert "Presented for the check flight of part 900" in listed
    assert "I permit Sam Example to fly the C172 alone from 2026-03-05 on." in page
    assert "Valid through 7 Apr 2026." in page
    assert "You cannot give this endorsement yet" not in page
    assert "Sam Example" in today
    client.force_login(people.ada)
    held = client.get(reverse("school-person", args=[people.school.slug, people.ida.roles.get().pk]))
    assert "900.51" in text_of(held)
    assert "CFR" not in text_of(held)
    # Its check flight asks for no flights in preparation, so the sheet offers none.
    assert sheet.preparation(progress.test_of(sam, TODAY)) == ""


# Audit, reminders, course


def alone(findings_of: findings.Done) -> list[tuple[str, list[str]]]:
    return [
        (each.kind, [unmet["requirement"] for unmet in each.body["unmet"]])
        for each in findings_of.standing
        if any(unmet["requirement"].startswith("ex.") for unmet in each.body["unmet"])
    ]


@pytest.mark.any_database  # others here and test_sweeping make these queries on SQLite
@pytest.mark.parametrize(
    ("day", "unmet"),
    [
        pytest.param(LAST, [], id="on the last day of the permit"),
        pytest.param(LAST + dt.timedelta(days=1), [("solo-first", ["ex.alone.permit"])], id="a day late"),
    ],
)
def test_the_audit(people: Cast, day: dt.date, unmet: list[Any]) -> None:
    student(people, flights=(*TAUGHT["flights"], flown("f2", day, 1, solo=1)))
    at = dt.datetime(2026, 6, 1, 18, tzinfo=dt.UTC)
    done = findings.recompute(people.school, dt.date(2026, 6, 1), at=at, by=people.ada, via="test")
    assert alone(done) == unmet
    assert {cite for each in done.standing for cite in each.body["citations"]} <= OF_PART_900


@pytest.mark.any_database  # others here, test_nightly_audit and test_sweeping make these queries on SQLite
def test_the_audit_by_its_own_rules(people: Cast) -> None:
    """Six hours of training in a day are too many under part 900; a flight need not name its places."""
    student(people, flights=(flown("f1", GIVEN, 6, dual=6),), endorsements=(presented(),))
    day = GIVEN + dt.timedelta(days=3)
    at = dt.datetime.combine(day, dt.time(18), dt.UTC)
    for on, missing in ((day, set()), (day + dt.timedelta(days=1), {"result-missing"})):
        done = findings.recompute(people.school, on, at=at, by=people.ada, via="test")
        told = {each.kind: each.body["citations"] for each in done.standing}
        assert told.keys() == {"training-hours", "recommendation-gap"} | missing
        assert told["training-hours"] == ["900.51"]


@pytest.mark.any_database  # others here and test_versions make these queries on SQLite
def test_a_signature_by_its_own_rules(people: Cast) -> None:
    sam = student(people, flights=())
    [hours] = [
        each for each in signing_authority.cautions(people.ida, sam, flown("f9", GIVEN, 6, dual=6))
        if each[0] == "hours-not-known"
    ]  # fmt: skip
    assert "at most 5.0 h are allowed" in hours[2]
    assert "(900.51)" in hours[2]


@pytest.mark.any_database  # others here and test_nightly_audit make these queries on SQLite
def test_without_a_course_every_authority_is_asked(people: Cast) -> None:
    assert authorities.of(people.sam) == authorities.of(people.school) == ("faa", "ex")
    factories.recorded(people.sam, at=NOON, flights=(flown("f2", GIVEN, 1, solo=1),))
    at = dt.datetime(2026, 6, 1, 18, tzinfo=dt.UTC)
    done = findings.recompute(people.school, dt.date(2026, 6, 1), at=at, by=people.ada, via="test")
    alone = [each for each in done.standing if each.kind == "solo-first"]
    assert sorted("900.13" in each.body["citations"] for each in alone) == [False, True]
    student(people)
    assert authorities.of(people.sam) == authorities.of(people.school) == ("ex",)


@pytest.mark.any_database  # others here make these queries on SQLite
def test_a_document_meets_requirements_of_the_students_authorities_alone(people: Cast) -> None:
    medical = engine.Document("d1", "medical", issued=GIVEN, klass="third", provenance="attested")
    assert {each.milestone for each in documents.good_for(people.sam, medical, TODAY)} >= {"faa.first-solo"}
    enrolled(people, course())
    assert documents.good_for(people.sam, medical, TODAY) == []


def test_an_authority_without_rules_of_auditing_is_refused(tmp_path: pathlib.Path) -> None:
    (tmp_path / "regulations" / "ey").mkdir(parents=True)
    with sources.added(tmp_path), pytest.raises(RuleDataError, match=r"auditing/ey.yaml: is missing"):
        auditing.current()


def test_a_word_that_is_a_letter_away_from_its_vocabulary_is_refused() -> None:
    told = {"format": "training-record/1", "student": {"name": "Sam Example"}}
    said = {**told, "documents": [{"id": "d1", "kind": "ex-cart", "issued": "2026-03-04"}]}
    with pytest.raises(DocumentError, match="did you mean 'ex-card'"):
        document.parse(said)
    given = {"id": "e1", "kind": "may-fly", "given": "2026-03-04"}
    assert document.parse({**told, "endorsements": [given]}).endorsements[0].kind == "ex-permit"
    graded = {"id": "i1", "item": "exalone.a-03", "date": "2026-03-04", "grade": "perform"}
    with pytest.raises(DocumentError, match=r"runs from exalone.a-01 to exalone.a-02"):
        document.parse({**told, "items": [graded]})


@pytest.mark.any_database  # others here, test_own_record and test_versions make these queries on SQLite
def test_the_instructors_own_record(people: Cast) -> None:
    student(
        people,
        endorsements=(permit(), presented()),
        tests=(engine.Test("t1", "ex-check:basic", TODAY, "pass"),),
    )
    kept = own_record.own_record(people.ida.roles.get(), TODAY)
    lines = {each.kind: (each.about, each.result and each.result.kind) for each in kept.lines}
    assert lines == {"ex-permit": ("solo", None), "ex-presented": ("test", "ex-check:basic")}
    assert kept.practical.rule is not None
    assert kept.kept_by.cite.section == kept.practical.rule.cite.section == "900.41"
    assert {each.keep_until.year for each in kept.lines} == {2033}


def test_a_reminder_is_made(people: Cast) -> None:
    student(people)
    sweep("2026-03-23 12:00")
    [made] = models.Reminder.objects.filter(last_day=LAST)
    assert (made.what, made.lead_days) == ("endorsement:ex-permit@c172", 14)
    assert made.citations == ["900.13"]
    assert [each["title"] for each in made.ends] == ["Alone under part 900 in the C172"]


@pytest.mark.any_database  # others here make these queries on SQLite
def test_the_course_and_its_next_lesson(people: Cast) -> None:
    sam = student(people, flights=(flown("f1", GIVEN, 3, dual=3),), items=(), endorsements=())
    found = progress.standing(sam, TODAY)
    assert found is not None
    assert [each.id for each in authorities.leads_to(found.progress.outline)] == ["ex.alone", "ex.check"]
    assert found.toward is not None
    assert found.toward.milestone.id == "ex.alone"
    assert found.next.proposal is not None
    assert found.next.proposal.lesson.code == "l-1"
    assert [str(each) for each in found.next.proposal.covers] == [
        "exalone.a-01 (Three leaves) at perform",
        "1.0 h of the 1.0 h remaining: 4 hours with an instructor",
    ]
    [why] = [why for blocked, why in found.next.blocked if blocked.lesson.code == "l-3"]
    closed = "Alone under part 900 is not met: 4 hours with an instructor (900.12(b))"
    assert any(str(each.reason).startswith(closed) for each in why)
    assert progress.test_of(sam, TODAY).id == "ex.check"
