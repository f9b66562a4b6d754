"""The demo school: its students stand at their stages on whatever day it is loaded."""

import dataclasses
import datetime as dt
import io
import socket
import uuid
from functools import cache
from itertools import pairwise

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from syllabus.engine.course import proving
from syllabus.engine.record import document
from syllabus.engine.record.record import Instructor, Record
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.rules.question import Context
from syllabus.engine.rules.report import Report
from syllabus.engine.time import amounts
from syllabus.engine.time.amounts import count
from syllabus.law import rulebook
from syllabus.models import Course, CourseVersion
from tests.support import factories
from tests.support.courses import private_airplane
from tests.support.extent import FULL, sampled
from tests.support.kept import kept
from tests.support.reminding import sweep
from training import models, record, reports
from training.ledger.models import Entry
from training.reports import audit, progress
from training.services import access
from training.services.endorsements import endorsements
from training.services.lessons import lesson_audit, lesson_content
from training.services.operations import demo, demo_fixture, demo_lessons
from training.services.operations.demo_lessons import Lesson
from training.services.signing.seals import tree_of

NOON = dt.time(12, tzinfo=dt.UTC)
FIXTURE = demo_fixture.read()
STUDENTS = {each["key"]: each for each in FIXTURE["students"]}

#: Ends and beginnings of months, leap days and the days around them, and every day of one month.
DAYS = [
    *(dt.date(2027, month, 1) - dt.timedelta(days=1) for month in range(1, 13)),
    *(dt.date(2027, month, 1) for month in range(1, 13)),
    *(dt.date(2028, 2, day) for day in range(26, 30)),
    *(dt.date(2028, 3, day) for day in range(1, 4)),
    *(dt.date(2026, 11, day) for day in range(1, 31)),
    dt.date(2032, 2, 29),
    dt.date(2050, 8, 31),
]
SOME = {*sampled(DAYS, 8), dt.date(2028, 2, 29), dt.date(2028, 3, 1)}
EVERY_DAY = pytest.mark.parametrize("on", [day for day in DAYS if day in SOME], ids=str)


def document_of(key: str, on: dt.date) -> Record:
    return document.parse(demo_fixture.document(FIXTURE, STUDENTS[key], on, dt.datetime.combine(on, NOON)))


def lessons_of(key: str, on: dt.date) -> list[Lesson]:
    return demo_lessons.of(FIXTURE, STUDENTS[key], private_airplane(), on, dt.datetime.combine(on, NOON))


@cache
def record_of(key: str, on: dt.date) -> Record:
    """What is on record after the loading: the document, what signed lessons put there, what those prove."""
    found, signed = document_of(key, on), [each for each in lessons_of(key, on) if each.signed]
    replaced = {each.corrects for each in signed}
    parts = {"flights": list(found.flights), "ground": list(found.ground), "items": list(found.items)}
    outlines = {}
    for lesson in signed:
        if lesson.id not in replaced:
            by = FIXTURE["people"][lesson.by]
            instructor = Instructor(by["name"], by["certificate"])
            outlines[str(lesson.id)] = private_airplane()
            content = lesson_content.read(lesson.content)
            for name, entries in content.entries(f"{lesson.id}/", instructor).items():
                parts[name] += [dataclasses.replace(each, recorded=lesson.at) for each in entries]
    parts["flights"].sort(key=lambda flight: flight.date)
    flown = {each.id: each for each in parts["flights"]}
    parts["items"] += proving.proofs(parts["items"], flown, outlines)
    return dataclasses.replace(found, **{name: tuple(entries) for name, entries in parts.items()})


def asked(key: str, on: dt.date, milestone: str) -> Report:
    context = Context(aircraft_model=STUDENTS[key]["training_model"])
    return evaluate(rulebook.current(), record_of(key, on), milestone, on, context=context)


def unmet(report: Report) -> list[str]:
    return [finding.rule.id.removeprefix("faa.") for finding in report.unmet()]


def last_of_month(on: dt.date, months: int = 0) -> dt.date:
    year, month = divmod(on.year * 12 + on.month + months, 12)
    return dt.date(year, month + 1, 1) - dt.timedelta(days=1)


@EVERY_DAY
def test_mina_is_fourteen_and_trains_and_cannot_fly_alone_for_two_years(on):
    record = record_of("mina", on)
    age = next(each for each in asked("mina", on, "faa.first-solo").findings if each.rule.id.endswith(".age"))

    assert age.met(on) is False
    assert (age.have, age.remaining) == ((count(14, "year"),), (count(2, "year"),))
    (first, last), *_ = age.holds
    assert (first, last) == (demo_fixture.day("+2 y", on), None)
    assert sum(flight.times.get("dual", 0) for flight in record.flights) > 0
    assert not any(flight.times.get("solo") for flight in record.flights)


@EVERY_DAY
def test_omar_lacks_nothing_but_a_medical_that_lapsed_last_month(on):
    report = asked("omar", on, "faa.first-solo")

    assert unmet(report) == ["first-solo.medical"]
    medical = next(each for each in report.findings if each.rule.id.endswith(".medical"))
    ((_, last),) = medical.holds
    assert last == last_of_month(on, -1)


@EVERY_DAY
def test_lena_has_flown_alone_and_her_endorsement_ends_in_five_days(on):
    report = asked("lena", on, "faa.first-solo")
    finding, last = report.first_to_lapse()

    assert report.eligible
    assert (finding.rule.id, last) == ("faa.first-solo.solo-endorsement", on + dt.timedelta(days=5))
    assert report.eligible_until == last
    assert any(flight.times.get("solo") for flight in record_of("lena", on).flights)
    assert not asked("lena", on, "faa.solo-cross-country").eligible


@EVERY_DAY
def test_theo_lacks_nothing_but_one_leg(on):
    report = asked("theo", on, "faa.private-practical-test")

    assert unmet(report) == ["private-practical-test.long-solo-cross-country"]
    (long,) = report.unmet()
    why = [str(why) for entry, why in long.not_counted if "49.96" in str(why)]
    assert why == ["longest leg 49.96 NM; more than 50 NM is required"]


@EVERY_DAY
def test_ruths_knowledge_test_lapses_at_the_end_of_this_month(on):
    report = asked("ruth", on, "faa.private-practical-test")
    finding, last = report.first_to_lapse()

    assert (finding.rule.id, last) == ("faa.private-practical-test.knowledge-test", last_of_month(on))
    assert unmet(report) == [
        "private-practical-test.preparation",
        "private-practical-test.prerequisites-endorsement",
    ]


@EVERY_DAY
def test_nils_is_ready_for_the_practical_test(on):
    report = asked("nils", on, "faa.private-practical-test")

    assert unmet(report) == []
    assert report.eligible
    # Not on the last day only: there is time to go and take it.
    assert report.eligible_until >= on + dt.timedelta(days=28)


@EVERY_DAY
@pytest.mark.parametrize("key", STUDENTS)
def test_nothing_in_the_file_lies_after_the_day_of_loading(key, on):
    found = record_of(key, on)

    for part in found.PARTS:
        entries = getattr(found, part)
        days = [
            getattr(each, "date", None) or getattr(each, "issued", None) or each.given for each in entries
        ]
        assert all(day <= on for day in days)
        assert all(each.recorded <= dt.datetime.combine(on, NOON) for each in entries)
        assert len({each.id for each in entries}) == len(entries)


@EVERY_DAY
def test_night_flights_are_at_night_whatever_the_season(on):
    from syllabus.engine.rules import facts

    flown = [flight for flight in record_of("nils", on).flights if flight.times.get("night")]

    assert len(flown) == 2
    for flight in flown:
        assert facts.computed_night(flight) == flight.times["night"]


def test_a_stage_fits_on_a_line():
    assert all(len(each["stage"]) <= 83 for each in STUDENTS.values())


def test_everybody_is_plainly_invented():
    names = [each["name"] for each in [*FIXTURE["people"].values(), *STUDENTS.values()]]
    assert all(name.endswith(" Example") for name in names)
    # No civil aircraft of the United States has a registration whose number begins with a zero.
    crafts = [each["registration"] for each in FIXTURE["aircraft"].values() if "device" not in each]
    assert all(craft.startswith("N0") for craft in crafts)


def test_the_days_of_the_parts_are_in_order():
    record = record_of("nils", DAYS[0])
    assert all(one.date <= two.date for one, two in pairwise(record.flights))


@pytest.mark.parametrize(
    ("expression", "on", "day"),
    [
        pytest.param("-40 d", dt.date(2026, 3, 1), dt.date(2026, 1, 20), id="days"),
        pytest.param(
            "-1 mo", dt.date(2026, 3, 31), dt.date(2026, 2, 28), id="held back to a short month's end"
        ),
        pytest.param("-14 y", dt.date(2028, 2, 29), dt.date(2014, 2, 28), id="a leap day in a common year"),
        pytest.param("-14 y -9 d", dt.date(2028, 2, 29), dt.date(2014, 2, 19), id="from left to right"),
        pytest.param("+2 d", dt.date(2026, 12, 31), dt.date(2027, 1, 2), id="into the future"),
    ],
)
def test_a_day_is_counted_from_the_day_of_loading(expression, on, day):
    assert demo_fixture.day(expression, on) == day


@pytest.mark.parametrize("expression", ["40 d", "-40", "yesterday", "-1 w"])
def test_what_is_no_day_is_refused(expression):
    with pytest.raises(ValueError, match="is not a day counted from today"):
        demo_fixture.day(expression, dt.date(2026, 3, 1))


# Loading

ON = dt.date(2026, 11, 24)
EVENING = dt.datetime(2026, 11, 24, 20, tzinfo=dt.UTC)


@pytest.mark.django_db
def test_a_school_that_is_no_demo_is_not_replaced():
    factories.school(slug="demo")
    with pytest.raises(demo.DemoRefused, match="school 'demo' is not a demo school"):
        demo.load(ON)


@pytest.mark.django_db
@pytest.mark.parametrize(
    "of",
    [
        pytest.param(
            lambda user: factories.role("instructor", at=factories.school(), whose=user), id="another school"
        ),
        pytest.param(
            lambda user: models.User.objects.filter(pk=user.pk).update(is_staff=True), id="the staff"
        ),
    ],
)
def test_a_user_who_is_more_than_a_demos_gets_no_new_password(of):
    of(factories.user(email="ida@flying.example", password="their own"))
    with pytest.raises(demo.DemoRefused, match=r"ida@flying\.example has more than a role in the demo"):
        demo.load(ON)

    assert models.User.objects.get(email="ida@flying.example").check_password("their own")
    assert not models.School.objects.filter(slug="demo").exists()


def test_passwords_are_made_up_anew():
    drawn = {demo.made_up_password() for _ in range(100)}
    assert len(drawn) == 100
    assert {len(each) for each in drawn} == {14}


# Lessons

SIGNED = {key: sum(each.signed for each in lessons_of(key, ON)) for key in STUDENTS}


def stands(key: str) -> progress.Standing:
    found = progress.standing(models.Student.objects.get(ref=demo.ref(key)), ON)
    assert found is not None
    return found


def carried_over(found: progress.Standing) -> list[tuple[str, str | None, str | None]]:
    return [(each.item.code, each.grade, each.asked) for each in found.progress.carried_over]


@kept
def sam(db):
    """A student of another school, with some of the same record."""
    made = factories.student(name="Sam Example", user=factories.user())
    return factories.recorded(made, tests=(record_of("nils", ON).tests))


@kept
def loaded(sam):
    return demo.load(ON, password="one")


@kept
def anew(loaded):
    """The school loaded anew, with how many users and entries of the ledger there were before."""
    before = models.User.objects.count(), Entry.objects.count()
    return demo.load(ON + dt.timedelta(days=30), password="two"), *before


@pytest.mark.any_database  # test_sweeping loads it anew on SQLite
@pytest.mark.django_db
def test_loading_twice_leaves_one_school_with_the_same_references(sam, loaded, anew):
    second, people, _ = anew

    assert second.school == loaded.school
    assert [student.ref for student, _ in second.students] == [student.ref for student, _ in loaded.students]
    assert models.Student.objects.exclude(pk=sam.pk).count() == len(STUDENTS)
    assert models.User.objects.count() == people
    ida = models.User.objects.get(email="ida@flying.example")
    assert (ida.check_password("one"), ida.check_password("two")) == (False, True)


@pytest.mark.any_database  # test_sweeping loads it anew on SQLite
@pytest.mark.django_db
def test_loading_touches_nothing_of_another_school(sam, anew):
    assert models.Student.objects.get(pk=sam.pk).test_set.count() == 2
    assert models.RecordChange.objects.filter(student=sam).count() == 1


@pytest.mark.any_database  # test_sweeping loads it anew and test_lesson_audit audits on SQLite
@pytest.mark.django_db
def test_loading_anew_keeps_what_is_sealed_and_leaves_no_fault(anew):
    again, _, sealed = anew

    assert Entry.objects.count() == 2 * sealed
    assert list(lesson_audit.faults(again.school)) == []
    assert Course.objects.filter(code="private-airplane").count() == 1
    (version,) = CourseVersion.objects.filter(course__code="private-airplane")
    assert (version.number, version.course.school_ref) == (1, "demo")


@pytest.mark.django_db
@pytest.mark.usefixtures("loaded")
class TestTheLoadedSchool:
    @pytest.mark.any_database  # others here and test_sweeping make these queries on SQLite
    def test_each_of_the_school_sees_their_own(self, loaded):
        def seen(email: str) -> list[str]:
            user = models.User.objects.get(email=f"{email}@flying.example")
            return [student.name for student in access.visible_students(user, on=ON)]

        assert seen("bo") == ["Lena Example", "Ruth Example", "Tove Example"]
        assert seen("ida") == ["Mina Example", "Nils Example", "Omar Example", "Theo Example"]
        assert len(seen("ada")) == len(loaded.students)
        assert seen("theo") == ["Theo Example"]
        assert "mina@flying.example" not in [each.email for each in loaded.logins]

    def test_an_answer_given_a_month_ago_can_be_had_again(self):
        theo = models.Student.objects.get(ref=demo.ref("theo"))
        then = ON - dt.timedelta(days=31)

        def total(known_at: dt.datetime | None) -> str:
            found = reports.eligibility(theo, "faa.private-practical-test", ON, known_at=known_at)
            return next(amounts.text(each.have) for each in found.findings if each.rule.id.endswith(".total"))

        # The four flights since, 5.4 h of preparation, were put on record later.
        assert (total(dt.datetime.combine(then, NOON)), total(None)) == ("38.6 h", "44.0 h")

    def test_tove_begins_with_the_first_lesson_which_is_planned(self):
        found = stands("tove")

        assert not any(each.flown for each in found.progress.lessons.values())
        assert found.next.proposal.lesson.code == "1-01"
        (draft,) = models.LessonRecord.objects.filter(student__ref=demo.ref("tove"))
        assert (draft.state, draft.lesson) == ("draft", "1-01")
        assert {each["grade"] for each in draft.content["items"]} == {"not-observed"}

    def test_mina_carries_an_item_over_to_a_lesson_that_gives_what_the_first_solo_lacks(self):
        found = stands("mina")

        assert found.progress.stage.stage.code == "first-solo"
        assert carried_over(found) == [("airspeeds", "explain", "practice")]
        assert found.next.proposal.lesson.code == "1-06"
        assert any("presolo.d-05" in str(each) for each in found.next.proposal.covers)
        assert "airspeeds" in [each.standing.item.code for each in found.next.proposal.items]
        assert found.other == {}

    def test_omar_waits_for_a_medical_before_his_first_solo(self):
        found = stands("omar")

        assert carried_over(found) == []
        blocked = {
            each.lesson.code: [str(because.reason) for because in why] for each, why in found.next.blocked
        }
        assert any("14 CFR 61.23" in words for words in blocked["1-10"])
        models.Document.objects.filter(student__ref=demo.ref("omar"), kind="medical").update(issued=ON)
        assert stands("omar").next.proposal.lesson.code == "1-10"

    def test_lena_is_in_the_cross_country_stage_with_pilotage_to_fly_again(self):
        found = stands("lena")

        assert found.progress.stage.stage.code == "cross-country-and-night"
        assert carried_over(found) == [("pilotage", "explain", "practice")]
        # What she flew since is a draft, and counts for nothing until it is signed.
        assert found.next.proposal.lesson.code == "3-06"
        assert next(each.lesson.code for each, _ in found.next.blocked) == "3-03"
        assert "pilotage" in [each.standing.item.code for each in found.next.proposal.items]
        hints = models.LessonRecord.objects.get(student__ref=demo.ref("lena"), lesson="3-02").sign_off.hints
        assert [hint["by"] for hint in hints if hint["inside"] is False] == ["1.2 NM"]

    def test_what_is_on_record_is_what_the_tests_above_ask_about(self):
        for key in STUDENTS:
            student = models.Student.objects.get(ref=demo.ref(key))
            found, told = record.of(student), record_of(key, ON)
            assert [flight.times for flight in found.flights] == [flight.times for flight in told.flights]
            graded = {(each.item, each.grade, each.date) for each in found.items}
            assert graded == {(each.item, each.grade, each.date) for each in told.items}

    def test_lessons_are_signed_acknowledged_corrected_or_drafts(self):
        signed = models.SignOff.objects.filter(school__slug="demo")

        assert signed.count() == sum(SIGNED.values())
        assert not signed.filter(acknowledgement__isnull=True, student__user__isnull=False).exclude(
            lesson__lesson="3-02"
        )
        assert models.LessonRecord.objects.filter(state="draft").count() == 2
        (correction,) = models.Correction.objects.all()
        assert (correction.lesson.lesson, correction.lesson.student.name) == ("2-02", "Lena Example")
        kinds = {warning["kind"] for each in signed for warning in each.warnings}
        assert kinds == {"grade-inside", "grade-outside"} & kinds
        # A stage check is signed by another instructor than the student's own.
        checks = signed.filter(lesson__lesson__in=("1-09", "2-05"))
        taught_by = {each["name"]: each["taught_by"] for each in STUDENTS.values()}
        assert all(each.by.email != f"{taught_by[each.student.name]}@flying.example" for each in checks)


#: What an audit finds, on purpose: the file says of each why.
FOUND = [
    ("lesson-unacknowledged", "Lena Example", -12),
    ("lesson-unsigned", "Lena Example", -2),
    ("recommendation-gap", "Ruth Example", -8),
    ("recommendation-gap", "Theo Example", -3),
]


#: Days of the full run besides.
MORE = [dt.date(2027, 3, 1), dt.date(2027, 7, 31), dt.date(2026, 11, 2)] if FULL else []


@pytest.mark.any_database  # test_sweeping loads it and test_audit audits on SQLite
@pytest.mark.django_db
@pytest.mark.parametrize("on", [ON, dt.date(2028, 2, 29), *MORE], ids=str)
def test_an_audit_finds_the_four_things_that_the_file_says_and_nothing_else(loaded, on):
    school = (loaded if on == ON else demo.load(on, password="one")).school
    told = list(audit.audit(school, on, at=dt.datetime.combine(on, EVENING.timetz())))

    found = [(each.found.kind, str(each.student and each.student.name), each.found.day) for each in told]
    assert sorted(found) == [(kind, whose, on + dt.timedelta(days=days)) for kind, whose, days in FOUND]
    gaps = {
        str(each.student and each.student.name): len(each.found.unmet) for each in told if each.found.unmet
    }
    assert gaps == {"Theo Example": 1, "Ruth Example": 2}
    assert demo_fixture.FILE.read_text(encoding="utf-8").count("# The audit:") == len(FOUND)


@pytest.mark.any_database  # test_sweeping loads it anew and test_nightly_audit audits on SQLite
@pytest.mark.django_db
def test_it_is_audited_at_night_and_anew_when_it_is_loaded_anew(loaded):
    school = loaded.school
    for again in (False, True):
        if again:
            school = demo.load(ON, password="one").school
        sweep(EVENING, audits=True)
        assert list(models.AuditRun.objects.filter(school=school).values_list("on", flat=True)) == [ON]
        assert models.Finding.objects.filter(school=school).count() == len(FOUND)


@pytest.mark.any_database  # test_sweeping loads it anew and test_endorsements_end revokes on SQLite
@pytest.mark.django_db
def test_it_is_loaded_anew_whatever_was_signed_there(loaded):
    taught = models.Assignment.objects.filter(school=loaded.school).order_by("pk").first()
    signed = {"by": taught.instructor, "at": EVENING, "via": "test"}
    fields = {"test": "knowledge:private-airplane", "training_date": ON.isoformat()}
    done = endorsements.give(taught.student, uuid.uuid4(), "retest", fields, **signed)
    endorsements.revoke(done.endorsement, reason="Only shown", **signed)

    demo.load(ON, password="one")
    assert not models.EndorsementSeal.objects.exists()
    kinds = Entry.objects.filter(tree=tree_of(loaded.school), kind__startswith="endorsement.")
    assert kinds.count() == 2


# The command


def run(*arguments: str) -> str:
    out = io.StringIO()
    call_command("demo", *arguments, stdout=out)
    return out.getvalue()


@pytest.fixture
def embedded(settings):
    settings.EMBEDDED = True


@pytest.mark.any_database  # others here and test_sweeping make these queries on SQLite
@pytest.mark.django_db
def test_the_command_prints_gaps_stages_and_logins(embedded, monkeypatch):
    monkeypatch.setenv("DEMO_PASSWORD", "known-to-the-test")
    printed = run("--no-serve")

    assert "49.9 NM; more than 50 NM is required" in printed
    assert "the password known-to-the-test" in printed
    for each in STUDENTS.values():
        assert each["stage"] in printed
    assert "ada@flying.example" in printed
    assert models.User.objects.get(email="ada@flying.example").check_password("known-to-the-test")


@pytest.mark.any_database  # others here and test_sweeping make these queries on SQLite
@pytest.mark.django_db
def test_without_a_password_in_the_environment_one_is_made_up_and_printed(embedded, monkeypatch):
    monkeypatch.delenv("DEMO_PASSWORD", raising=False)
    printed = run("--no-serve")

    (line,) = [line for line in printed.splitlines() if "with the password" in line]
    assert models.User.objects.get(email="bo@flying.example").check_password(line.split()[-1])


def test_a_port_that_is_taken_is_refused_before_anything_is_done(embedded):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(CommandError, match=rf"Cannot use port {port} .* --port \d+") as refused:
            run("--port", str(port))
    assert refused.value.returncode == 2


@pytest.mark.parametrize("port", ["0", "65536", "-1"])
def test_a_number_that_is_no_port_is_refused(embedded, port):
    with pytest.raises(CommandError, match="ports run from 1 to 65535"):
        run(f"--port={port}")


def test_another_database_is_not_loaded_into_unasked(settings):
    settings.EMBEDDED = False
    with pytest.raises(CommandError, match="DATABASE_URL is set"):
        run("--no-serve")
