"""The administrator's pages: whose they are, that they say what is stored, and in how many queries."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import AnonymousUser
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from syllabus.engine.record import record as engine
from syllabus.models import CourseVersion, SchoolMinimum
from tests.support import courses, factories, lessons
from tests.support.cast import Cast
from tests.support.mailing import mails_sent
from tests.syllabus.courses.test_course_versions import SMALL
from tests.training.lessons.test_sign_offs import correction
from tests.training.web.test_pages import text_of
from training import models, record
from training.models import Role
from training.services import access
from training.services.reminders import standings

THE_DAY = dt.datetime(2026, 7, 5, 18, tzinfo=dt.UTC)
PASSWORD = "a fine day for it"
HERE = "/school/lakeside/"


@pytest.fixture(autouse=True)
def the_day() -> Any:
    with time_machine.travel(THE_DAY, tick=False):
        yield


@pytest.fixture
def desk(client: Client, taught: Cast) -> Client:
    """Ada at her desk."""
    taught.ada.set_password(PASSWORD)
    taught.ada.save()
    client.force_login(taught.ada)
    return client


def pages_of(people: Cast) -> list[str]:
    sam, role = people.sam.ref, Role.objects.get(user=people.ida).pk
    return [
        HERE,
        f"{HERE}students/",
        f"{HERE}students/?q=sam",
        f"{HERE}students/{sam}/",
        *(f"{HERE}students/{sam}/record/?leaf={leaf}" for leaf in ("flights", "ground", "grades", "papers")),
        *(f"{HERE}students/{sam}/record/?leaf={leaf}" for leaf in ("endorsements", "milestones")),
        f"{HERE}students/{sam}/import/",
        f"{HERE}students/{sam}/retention/",
        f"{HERE}courses/",
        f"{HERE}people/",
        f"{HERE}people/add/?role=instructor",
        f"{HERE}people/{role}/",
        f"{HERE}minimums/",
        f"{HERE}aircraft/",
    ]


@pytest.mark.any_database  # others here make these queries on SQLite
def test_an_administrator_opens_every_page(desk: Client, taught: Cast) -> None:
    for path in pages_of(taught):
        assert desk.get(path).status_code == 200, path


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize("who", ["ida", "sams_account", "olaf", "ottos_account"])
def test_for_anybody_else_there_are_no_such_pages(client: Client, taught: Cast, who: str) -> None:
    client.force_login(getattr(taught, who))
    for path in [*pages_of(taught), "/school/"]:
        assert client.get(path).status_code == 404, path


@pytest.mark.any_database  # others here make these queries on SQLite
def test_the_administrator_of_another_school_sees_none_of_it(client: Client, taught: Cast) -> None:
    client.force_login(factories.administrator(taught.elsewhere))
    for path in pages_of(taught):
        assert client.get(path).status_code == 404, path
    theirs = f"/school/hilltop/students/{taught.sam.ref}/record/"
    assert client.get(theirs).status_code == 404


@pytest.mark.any_database  # others here and test_people make these queries on SQLite
@pytest.mark.parametrize(
    "path",
    [
        "students/{sam}/enrol/",
        "students/{sam}/assign/",
        "students/{sam}/retention/",
        "students/{sam}/retention/1/release/",
        "students/{sam}/erase/",
        "students/{sam}/import/",
        "students/{sam}/import/columns/",
        "courses/",
        "courses/small@lakeside/1/publish/",
        "people/add/",
        "people/{role}/",
        "people/{role}/end/",
        "people/{role}/mail/",
        "minimums/",
        "minimums/1/end/",
        "aircraft/",
        "aircraft/1/checks/",
    ],
)
@pytest.mark.parametrize("who", ["ida", "sams_account", "olaf"])
def test_nobody_else_changes_anything(client: Client, taught: Cast, path: str, who: str) -> None:
    role = Role.objects.get(user=taught.ida).pk
    client.force_login(getattr(taught, who))
    answer = client.post(f"{HERE}{path.format(sam=taught.sam.ref, role=role)}", {"sure": "on"})
    assert answer.status_code == 404
    assert not models.PeopleChange.objects.exists()


def test_who_is_not_signed_in_is_asked_to(client: Client, taught: Cast) -> None:
    assert client.get(HERE)["Location"] == f"/login/?next={HERE}"
    assert list(access.schools(AnonymousUser())) == []


def test_one_school_is_gone_to_and_several_are_listed(desk: Client, taught: Cast) -> None:
    assert desk.get("/school/")["Location"] == HERE
    factories.role("administrator", at=taught.elsewhere, whose=taught.ada)
    assert "Hilltop Flying" in text_of(desk.get("/school/"))


# At a glance


def test_the_glance_says_what_is_stored(desk: Client, taught: Cast) -> None:
    standings.work_out(taught.sam.pk, THE_DAY)
    models.LessonRecord.objects.create(
        id=uuid.uuid4(),
        school=taught.school,
        student=taught.sam,
        instructor=taught.ida,
        lesson="1-01",
        content={"ground": {"date": "2026-06-27"}},
        content_hash="x",
        first_hash="x",
        created_at=THE_DAY - dt.timedelta(days=8),
        updated_at=THE_DAY,
    )
    models.Lapse.objects.create(
        school=taught.school,
        student=taught.sam,
        what="medical",
        kind="medical",
        last_day=dt.date(2026, 8, 4),
        says="A medical certificate of third class",
        citations=["14 CFR 61.23"],
        changed_at=THE_DAY,
    )
    role = Role.objects.get(user=taught.ida)
    role.recent_experience_until = dt.date(2026, 7, 4)
    role.save()
    page = text_of(desk.get(HERE))
    assert "1 student, 0 enrolled in a course" in page
    assert "1 longer than a week" in page
    assert "30 days to go" in page
    assert "A medical certificate of third class" in page
    assert "airplane single-engine land" in page
    assert "✗ ended 4 Jul 2026" in page
    assert "No checkpoint yet" in page
    assert models.AccessLog.objects.filter(what="school at a glance", user=taught.ada).count() == 1


def test_what_lapses_after_thirty_days_is_not_there_yet(desk: Client, taught: Cast) -> None:
    models.Lapse.objects.create(
        school=taught.school,
        student=taught.sam,
        what="medical",
        kind="medical",
        last_day=dt.date(2026, 8, 5),
        says="A medical certificate",
        changed_at=THE_DAY,
    )
    assert "Nothing on record expires within 30 days" in text_of(desk.get(HERE))


def test_more_hours_than_are_allowed_are_pointed_out(desk: Client, taught: Cast) -> None:
    for hour, hours in ((12, 4), (17, 5)):
        off = dt.datetime(2026, 7, 4, hour, tzinfo=dt.UTC)
        length = dt.timedelta(hours=hours)
        models.Flight.objects.create(
            school=taught.school,
            student=taught.sam,
            entry_id=f"long-{hour}",
            recorded_at=THE_DAY,
            date=off.date(),
            instructor_name="Ida Example",
            instructor_user=taught.ida,
            dual=length,
            total=length,
            off_at=off,
            off_offset=dt.timedelta(),
            on_at=off + length,
            on_offset=dt.timedelta(),
        )
    page = text_of(desk.get(HERE))
    assert "9.0 h of 8.0 h" in page
    assert "over the limit" in page


def course_file(text: str, name: str = "small.yaml") -> dict[str, Any]:
    return {"file": SimpleUploadedFile(name, text.encode())}


def queries(client: Client, path: str) -> int:
    client.get(path)
    with CaptureQueriesContext(
        connection,
    ) as seen:
        assert client.get(path).status_code == 200
    return len(seen)


def test_at_most_twelve_queries_a_page_whatever_the_number_of_students(desk: Client, taught: Cast) -> None:
    for number in range(30):
        each = factories.student(taught.school, taught_by=taught.ida, name=f"Pupil {number:02d}")
        standings.work_out(each.pk, THE_DAY)
        models.Lapse.objects.create(
            school=taught.school,
            student=each,
            what="medical",
            kind="medical",
            last_day=dt.date(2026, 7, 20),
            says="A medical certificate",
            changed_at=THE_DAY,
        )
        factories.instructor(taught.school)
    courses.enrolled(taught)
    desk.post(f"{HERE}courses/", course_file(SMALL))
    shown = [f"{HERE}courses/private-airplane/1/", f"{HERE}courses/small@lakeside/1/"]
    counted = {path: queries(desk, path) for path in [*pages_of(taught), *shown]}
    assert {path: number for path, number in counted.items() if number > 12} == {}


# A record as of a day, as known at a day


def test_a_record_as_of_a_day_and_as_known_at_a_day(desk: Client, taught: Cast) -> None:
    path = f"{HERE}students/{taught.sam.ref}/record/"
    now = text_of(desk.get(path))
    assert "2 Mar 2026" in now
    assert "Not signed" in now
    assert "Nothing on record for that day" in text_of(desk.get(f"{path}?on=2026-03-01"))
    assert "Nothing on record for that day" in text_of(desk.get(f"{path}?known=2026-03-01"))
    assert "2 Mar 2026" in text_of(desk.get(f"{path}?known=2026-03-02"))


def test_what_was_replaced_stays_beside_what_took_its_place(desk: Client, taught: Cast) -> None:
    first = models.Flight.objects.filter(student=taught.sam).first()
    assert first is not None
    models.Flight.objects.filter(pk=first.pk).update(retired_at=dt.datetime(2026, 6, 1, 15, tzinfo=dt.UTC))
    path = f"{HERE}students/{taught.sam.ref}/record/"
    page = text_of(desk.get(path))
    assert "0 on record, 1 replaced or removed" in page
    assert "Removed 2026-06-01 10:00 CDT" in page
    before = text_of(desk.get(f"{path}?known=2026-05-31"))
    assert "1 on record." in before


def test_a_signed_lesson_and_its_correction_stand_sealed_with_their_places(
    desk: Client, people: Cast
) -> None:
    with time_machine.travel(lessons.AT):
        lesson = lessons.signed(people)
        lessons.sign(correction(people, lesson, reason="wrong time"), people.ida)
    path = f"{HERE}students/{people.sam.ref}/record/"
    page = text_of(desk.get(path))
    assert "2 on record, 1 replaced or removed" in page  # the one that was brought in stands too
    assert "Signed and locked, ledger entry 0 Signed by Ida Example with lesson S1-L3" in page
    entries = list(models.SignOff.objects.order_by("pk").values_list("ledger_index", flat=True))
    assert f"Signed and locked, ledger entry {entries[1]}" in page
    assert ": wrong time" in page
    glance = text_of(desk.get(HERE))
    assert "No unsigned lessons" in glance


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(
    ("query", "said"),
    [
        pytest.param("on=yesterday", "'yesterday' is not a date; write it like 2026-03-02", id="no day"),
        pytest.param("known=2026-07-06", "2026-07-06 is in the future", id="known tomorrow"),
        pytest.param("leaf=milestones&on=1990-01-01", "1990-01-01", id="before the rules begin"),
    ],
)
def test_a_question_that_cannot_be_answered_is_told_at_its_field(
    desk: Client, taught: Cast, query: str, said: str
) -> None:
    answer = desk.get(f"{HERE}students/{taught.sam.ref}/record/?{query}")
    assert answer.status_code == 422
    assert said in text_of(answer)


def test_reading_a_record_is_noted(desk: Client, taught: Cast) -> None:
    desk.get(f"{HERE}students/{taught.sam.ref}/record/?leaf=papers")
    assert models.AccessLog.objects.filter(student=taught.sam, what="record, papers").count() == 1


# People


def test_a_new_instructor_is_invited_and_gets_what_was_entered(desk: Client, taught: Cast) -> None:
    sent = {
        "role": "instructor",
        "name": "Nora Example",
        "email": "Nora@lakeside.example",
        "certificate": "0000009CFI",
        "recent_experience_until": "2027-01-31",
        "category-0": "airplane",
        "class-0": "single-engine land",
        "instrument-0": "no",
    }
    assert desk.post(f"{HERE}people/add/", sent)["Location"] == f"{HERE}people/"
    assert "Nora Example, instructor nora@lakeside.example, expires on" in text_of(desk.get(f"{HERE}people/"))
    role = factories.accepted("nora@lakeside.example").roles.get()
    assert role.ratings == [{"category": "airplane", "class": "single-engine land", "instrument": False}]
    assert role.recent_experience_until == dt.date(2027, 1, 31)
    [message] = mails_sent()
    assert message.to == ["nora@lakeside.example"]
    assert "/invitations/" in message.body
    page = text_of(desk.get(f"{HERE}people/"))
    assert "instructor accepted, Nora Example, by Nora Example" in page
    assert "instructor invited, by Ada Example" in page
    assert "expires on" not in page


def test_what_a_role_holds_is_changed_and_nothing_else_is_lost(desk: Client, taught: Cast) -> None:
    role = Role.objects.get(user=taught.ida)
    classes = ["single-engine land", "single-engine sea", "multiengine land", "multiengine sea"]
    role.ratings = [{"category": "airplane", "class": each} for each in classes] + [{"category": "glider"}]
    role.save()
    shown = desk.get(f"{HERE}people/{role.pk}/").context
    sent = {field.html_name: field.value() or "" for line in shown["form"].lines() for field in line}
    assert len(sent) == 15
    sent |= {"certificate": "0000001CFI", "recent_experience_until": "2027-01-31"}
    assert desk.post(f"{HERE}people/{role.pk}/", sent).status_code == 302
    before, was = role.ratings, role.certificate
    role.refresh_from_db()
    assert (role.ratings, role.certificate) == (before, was)
    assert role.recent_experience_until == dt.date(2027, 1, 31)
    wrong = desk.post(f"{HERE}people/{role.pk}/", {**sent, "recent_experience_until": "soon"})
    assert wrong.status_code == 422
    assert "'soon' is not a date" in text_of(wrong)


def test_a_rating_that_is_none_is_said_in_its_own_line_and_nothing_is_lost(
    desk: Client, taught: Cast
) -> None:
    role = Role.objects.get(user=taught.ida)
    sent = {"category-0": "", "category-1": "airplane", "class-1": "kite", "certificate": "0000009CFI"}
    answer = desk.post(f"{HERE}people/{role.pk}/", sent)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert 'aria-describedby="class-1_error"' in page
    assert '<a href="#class-1">Class 2</a>' in page
    assert 'value="0000009CFI"' in page
    assert "class-2" not in page, "as many lines as were sent"
    assert role.ratings == Role.objects.get(pk=role.pk).ratings


def test_what_an_instructor_signs_as_is_chosen_and_kept(desk: Client, taught: Cast) -> None:
    # 14 CFR 61.193, 61.215, 61.41: the kinds of instructor there are.
    role = Role.objects.get(user=taught.ida)
    page = desk.get(f"{HERE}people/{role.pk}/").content.decode()
    assert '<option value="flight" selected>Flight instructor</option>' in page
    sent = {"certificate": "0000001CFI", "instructor_kind": "ground"}
    assert desk.post(f"{HERE}people/{role.pk}/", sent).status_code == 302
    role.refresh_from_db()
    assert role.instructor_kind == "ground"
    assert desk.post(f"{HERE}people/{role.pk}/", {"certificate": "0000001CFI"}).status_code == 302
    role.refresh_from_db()
    assert role.instructor_kind == "ground", "a form that does not name it changes nothing of it"
    assert desk.post(f"{HERE}people/{role.pk}/", {**sent, "instructor_kind": "pilot"}).status_code == 422


def test_the_link_to_set_a_password_is_sent_once_more(desk: Client, taught: Cast) -> None:
    role = Role.objects.get(user=taught.ida).pk
    desk.post(f"{HERE}people/{role}/mail/")
    assert [message.to for message in mails_sent()] == [["ida@lakeside.example"]]


def test_a_student_is_added_assigned_and_enrolled(desk: Client, taught: Cast) -> None:
    desk.post(f"{HERE}courses/", course_file(SMALL))
    version = CourseVersion.objects.get(course__school_ref="lakeside")
    address = f"{version.course.code}@lakeside"
    desk.post(
        f"{HERE}courses/{address}/1/publish/", {"content_hash": version.content_hash, "password": PASSWORD}
    )
    sent = {"role": "student", "name": "Nils Example", "email": "", "birth_date": "2012-05-17"}
    where = desk.post(f"{HERE}people/add/", sent)["Location"]
    student = models.Student.objects.get(name="Nils Example")
    assert where == f"{HERE}students/{student.ref}/"
    assert (
        desk.post(f"{where}assign/", {"instructor": taught.ida.pk, "from": "2026-07-05"}).status_code == 302
    )
    again = desk.post(f"{where}assign/", {"instructor": taught.ida.pk, "from": "2026-07-05"})
    assert "Ida Example teaches Nils Example already" in text_of(again)
    assert desk.post(f"{where}enrol/", {"course": address, "starts": "2026-07-05"}).status_code == 302
    assert "version 1" in text_of(desk.get(where))
    page = text_of(desk.get(HERE))
    assert "1 enrolled in a course" in page
    assert "No lesson signed yet 1" in page


@pytest.mark.any_database  # others here and test_people make these queries on SQLite
@pytest.mark.parametrize(
    ("sent", "said"),
    [
        pytest.param({"role": "instructor", "name": " ", "email": "n@x.example"}, "is blank", id="no name"),
        pytest.param({"role": "instructor", "name": "N", "email": "no"}, "not an e-mail address", id="none"),
        pytest.param({"role": "administrator", "name": "N", "email": ""}, "people sign in", id="none at all"),
        pytest.param({"role": "owner", "name": "N", "email": "n@x.example"}, "is not a role", id="no role"),
        pytest.param(
            {"role": "student", "name": "N", "birth_date": "2026-07-06"}, "in the future", id="born tomorrow"
        ),
        pytest.param(
            {"role": "instructor", "name": "I", "email": "ida@lakeside.example"}, "already", id="there"
        ),
    ],
)  # fmt: skip
def test_a_person_that_cannot_be_added(desk: Client, taught: Cast, sent: dict[str, str], said: str) -> None:
    answer = desk.post(f"{HERE}people/add/", sent)
    assert answer.status_code == 422
    assert said in text_of(answer)
    assert not models.PeopleChange.objects.exists()
    assert mails_sent() == []


def test_a_role_ends_by_a_box_that_is_ticked(desk: Client, taught: Cast) -> None:
    role = Role.objects.get(user=taught.ida).pk
    assert desk.post(f"{HERE}people/{role}/end/").status_code == 422
    assert desk.post(f"{HERE}people/{role}/end/", {"sure": "on"}).status_code == 302
    assert not Role.objects.filter(pk=role).exists()
    own = Role.objects.get(user=taught.ada).pk
    last = desk.post(f"{HERE}people/{own}/end/", {"sure": "on"})
    assert "is the last administrator" in text_of(last)


# Minimums


def test_a_minimum_is_asked_for_and_ended(desk: Client, taught: Cast) -> None:
    sent = {
        "milestone": "faa.first-solo",
        "code": "dual",
        "kind": "total_at_least",
        "params": "counts: [dual]\nneed: 25 h",
        "says": "25 hours of dual",
        "starts": "2026-07-01",
    }
    answer = desk.post(f"{HERE}minimums/", sent)
    assert answer.status_code == 302, text_of(answer)
    made = SchoolMinimum.objects.get()
    assert "25 hours of dual" in text_of(desk.get(f"{HERE}minimums/"))
    assert desk.post(f"{HERE}minimums/{made.pk}/end/", {"ends": "2026-07-05"}).status_code == 302
    made.refresh_from_db()
    assert made.ends == dt.date(2026, 7, 5)
    wrong = desk.post(f"{HERE}minimums/", {**sent, "code": "more", "params": "counts: [dual]\nneed: 25 NM"})
    assert wrong.status_code == 422
    assert "25 NM" in text_of(wrong)


# Imports


CSV = (
    "date,registration,from,to,total,dual\n2026-06-01,N00AB,KOSH,KFLD,1.2,\n2026-06-02,N00AB,KFLD,KOSH,{},\n"
)


def imported(desk: Client, people: Cast, text: str) -> Any:
    path = f"{HERE}students/{people.sam.ref}/import/"
    return desk.post(path, {"file": SimpleUploadedFile("flights.csv", text.encode())})


def form_of(answer: Any) -> dict[str, Any]:
    told = answer.context
    return {"table": told["token"], **{field.html_name: field.value() or "" for field in told["form"]}}


def test_flights_are_tried_and_then_put_on_record(desk: Client, taught: Cast) -> None:
    step = imported(desk, taught, CSV.format("0.8"))
    assert step.status_code == 200
    path = f"{HERE}students/{taught.sam.ref}/import/columns/"
    tried = desk.post(path, form_of(step))
    assert "2 new" in text_of(tried)
    assert "Import 2 flights" in text_of(tried)
    assert models.Flight.objects.filter(student=taught.sam).count() == 1
    plan = {**form_of(tried), "plan": tried.context["digest"], "reason": "from the paper logbook"}
    for short, said in (
        ({"reason": " "}, "Reason for the import: is empty; write why the record is changed."),
        ({"confirm_password": "wrong"}, "Wrong password; nothing was signed"),
        ({}, "password"),
    ):
        refused = desk.post(path, {**plan, **short})
        assert (refused.status_code, "Import 2 flights" in text_of(refused)) == (422, True)
        assert said in text_of(refused)
    assert models.Flight.objects.filter(student=taught.sam).count() == 1
    done = desk.post(path, {**plan, "confirm_password": PASSWORD})
    assert done["Location"] == f"{HERE}students/{taught.sam.ref}/record/"
    assert models.Flight.objects.filter(student=taught.sam).count() == 3
    shown = text_of(desk.get(done["Location"]))
    assert "Imported flight, by Ada Example" in shown
    assert "Provenance: claimed" in shown
    assert [each.kind for each in taught.sam.notices.exclude(kind="lesson-signed")] == ["record-changed"]
    again = desk.post(path, form_of(imported(desk, taught, CSV.format("0.8"))))
    assert "All of these flights are already on record" in text_of(again)


@pytest.mark.any_database  # others here and test_provenance make these queries on SQLite
def test_claimed_entries_are_attested_on_the_page(desk: Client, taught: Cast) -> None:
    medical = engine.Document("m:1", "medical", dt.date(2026, 1, 5), klass="third")
    record.add(taught.sam, "documents", medical, at=THE_DAY)
    page = f"{HERE}students/{taught.sam.ref}/record/?leaf=papers"
    assert "Provenance: claimed" in text_of(desk.get(page))
    sent = {"leaf": "papers", "entry": "documents:m:1", "saw": "the original", "confirm_password": PASSWORD}
    attest = f"{HERE}students/{taught.sam.ref}/record/attest/"
    for short, said in (
        ({"confirm_password": "wrong"}, "Wrong password; nothing was signed"),
        ({"saw": " "}, "Document that you saw: is empty; write which document you saw."),
        (
            {"entry": "documents:m:2"},
            "An entry that is no longer on record: 'm:2' is not on record among the documents.",
        ),
        ({"entry": []}, "Not attested. Select the entries that you compared with a document"),
    ):
        told = text_of(desk.post(attest, {**sent, **short}, follow=True))
        assert said in told
        assert "Provenance: claimed" in told
    told = text_of(desk.post(attest, sent, follow=True))
    assert "You attested 1 entry." in told
    assert "Provenance: attested" in told
    assert "Document that you saw" not in told


@pytest.mark.any_database  # others here make these queries on SQLite
def test_a_dry_run_tells_every_fault_and_offers_no_import(desk: Client, taught: Cast) -> None:
    path = f"{HERE}students/{taught.sam.ref}/import/columns/"
    tried = desk.post(path, form_of(imported(desk, taught, CSV.format("soon"))))
    assert tried.status_code == 422
    assert "Row 3, column E (total)" in text_of(tried)
    assert 'name="plan"' not in tried.content.decode()


@pytest.mark.any_database  # others here make these queries on SQLite
def test_a_table_that_was_changed_on_the_way_or_is_anothers_is_refused(desk: Client, taught: Cast) -> None:
    form = form_of(imported(desk, taught, CSV.format("0.8")))
    path = f"{HERE}students/{taught.sam.ref}/import/columns/"
    assert "The file is incomplete" in text_of(desk.post(path, {**form, "table": form["table"] + "x"}))
    other = factories.student(taught.school)
    elsewhere = desk.post(f"{HERE}students/{other.ref}/import/columns/", form)
    assert "The file is incomplete" in text_of(elsewhere)
    with time_machine.travel(THE_DAY + dt.timedelta(hours=5)):
        desk.force_login(taught.ada)  # nobody was at it for too long
        assert "The upload has expired" in text_of(desk.post(path, form))


def test_a_file_that_is_no_table_is_told(desk: Client, taught: Cast) -> None:
    answer = imported(desk, taught, "date\n")
    assert answer.status_code == 422
    assert "has a heading but no flights" in text_of(answer)
