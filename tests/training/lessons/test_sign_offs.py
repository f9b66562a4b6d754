"""The sign-off: once, by whoever may, sealed with what it puts on record, and corrected only by another."""

from __future__ import annotations

import datetime as dt
import threading
import time
import uuid
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction

from syllabus.engine.record import record as engine
from syllabus.engine.time.units import HOUR
from tests.support import cast, factories, lessons
from tests.support.cast import Cast
from tests.support.kept import kept
from tests.support.lessons import AT, CONTENT, content, draft, flown, sign, signed
from training import models, record, reports
from training.ledger import models as ledger
from training.services.errors import Conflict, NotAllowed, NotAsRead
from training.services.lessons import lesson_records, sign_offs
from training.services.lessons.lesson_content import LessonError
from training.services.lessons.lesson_records import AlreadySigned
from training.services.signing import seals

MINUTES = 60_000_000
ONCE = {
    "a sign-off": models.SignOff,
    "an acknowledgement": models.Acknowledgement,
    "a correction": models.Correction,
}
SEALED = {
    "the flight": models.Flight,
    "its landings": models.Landing,
    "the ground lesson": models.GroundLesson,
    "the grades": models.ItemGrade,
}


@pytest.fixture
def committed(transactional_db: None) -> Iterator[Cast]:
    """The people, in a test that commits."""
    yield cast.cast()
    lessons.take_out()


def whole() -> str:
    """What verify_ledger says; it exits with a fault where something does not fit."""
    out = StringIO()
    call_command("verify_ledger", stdout=out)
    return out.getvalue()


def sealed_kinds() -> list[str]:
    return list(ledger.Entry.objects.order_by("index").values_list("kind", flat=True))


def correction(
    people: Cast, lesson: models.LessonRecord, said: Any = None, reason: str = "wrong time"
) -> models.LessonRecord:
    times = {"total": "1.2 h", "dual": "1.2 h"}
    return sign_offs.correct(
        lesson,
        id=uuid.uuid4(),
        reason=reason,
        content=said or flown(times=times),
        by=people.ida,
        at=AT,
        via="api",
    )


# What a sign-off does


def test_it_puts_the_lesson_on_record_and_in_the_ledger(people: Cast) -> None:
    lesson = signed(people)
    found = record.of(models.Student.objects.get(pk=people.sam.pk))
    (flight,), (ground,), items = found.flights, found.ground, found.items
    assert flight.id == f"{lesson.pk}/flight"
    assert flight.times["dual"] == 84 * MINUTES
    assert (flight.landings[0].landings, flight.remarks) == (3, "gusts from the left")
    assert flight.instructor
    assert flight.instructor.certificate == cast.IDAS_CERTIFICATE
    assert (ground.id, ground.time, ground.topic) == (f"{lesson.pk}/ground", HOUR // 2, "crosswind landings")
    assert [(each.item, each.grade, each.flight, each.date) for each in items] == [
        ("presolo.d-01", "perform", flight.id, flight.date),
        ("presolo.d-02", "practice", flight.id, flight.date),
    ]
    for model in (models.Flight, models.GroundLesson, models.ItemGrade):
        assert set(model.objects.values_list("sealed", "instructor_user")) == {(True, people.ida.pk)}
    entry = ledger.Entry.objects.get()
    assert (entry.kind, entry.subject) == ("lesson.signed", str(people.sam.ref))
    assert entry.tree == seals.tree_of(people.school)
    body = entry.kept.value
    assert body["content_hash"] == lesson.sign_off.content_hash == lesson.content_hash
    assert body["content"] == lesson.content
    assert lesson.sign_off.ledger_index == entry.index
    assert lesson.state == "signed"
    assert "WHOLE" in whole()


def test_the_signed_hours_count(people: Cast) -> None:
    def dual() -> str:
        report = reports.eligibility(people.sam, "faa.private-practical-test", AT.date()).as_json()
        (found,) = [each["have"] for each in flat(report) if each["id"].endswith(".dual")]
        return found

    def flat(report: Any) -> Iterator[Any]:
        for each in report["requirements"]:
            yield each
            yield from flat(each) if each.get("requirements") else ()

    before = dual()
    signed(people)
    people.sam.refresh_from_db()
    assert (before, dual()) == ("0.0 h", "1.4 h")


def test_the_student_finds_a_notice_and_the_log_says_who(people: Cast) -> None:
    lesson = signed(people)
    notice = models.Notice.objects.get()
    assert (notice.user, notice.kind, notice.about) == (people.sams_account, "lesson-signed", str(lesson.pk))
    what = models.AccessLog.objects.filter(user=people.ida).values_list("what", flat=True)
    assert f"lesson-record {lesson.pk} sign" in what


def test_a_solo_flight_is_signed_and_is_no_training_received(people: Cast) -> None:
    signed(people, flown(times={"total": "0.5 h", "solo": "0.5 h", "pic": "0.5 h"}))
    flight = models.Flight.objects.get()
    assert (flight.sealed, flight.instructor_name) == (True, None)


def test_the_same_again_is_the_same_and_another_is_refused(people: Cast) -> None:
    lesson = draft(people)
    first = sign(lesson, people.ida)
    assert sign(lesson, people.ida, at=AT + dt.timedelta(days=9)).pk == first.pk
    second = factories.instructor(people.school, certificate="0000002CFI")
    with pytest.raises(Conflict, match="another instructor"):
        sign(lesson, second)
    with pytest.raises(Conflict, match="by you"):
        sign(lesson, people.ida, content_hash="sha256:" + "0" * 64)
    assert sealed_kinds() == ["lesson.signed"]


def test_a_draft_that_changed_meanwhile_is_not_signed(people: Cast) -> None:
    lesson = draft(people)
    with pytest.raises(NotAsRead):
        sign(lesson, people.ida, content_hash="sha256:" + "0" * 64)
    assert not models.Flight.objects.exists()


def role(people: Cast) -> models.Role:
    return models.Role.objects.get(user=people.ida, role="instructor")


@pytest.mark.parametrize(
    ("who", "prepare", "says"),
    [
        pytest.param("olaf", lambda people: None, r"is not an instructor at .*14 CFR 61\.1", id="elsewhere"),
        pytest.param("ada", lambda people: None, "is not an instructor at", id="an administrator"),
        pytest.param("sams_account", lambda people: None, "You cannot sign your own", id="the student"),
        pytest.param(
            "ida",
            lambda people: models.Role.objects.update(certificate=""),
            r"no certificate number .*14 CFR 61\.1",
            id="without a certificate number",
        ),
        pytest.param(
            "ida",
            lambda people: models.Role.objects.update(recent_experience_until=dt.date(2026, 3, 2)),
            r"ended on 2026-03-02.*14 CFR 61\.197",
            id="whose recent experience ended on the day before",
        ),
        pytest.param(
            "ida",
            lambda people: models.Role.objects.update(recent_experience_until=dt.date(2026, 2, 28)),
            r"ended on 2026-02-28.*14 CFR 61\.197",
            id="whose recent experience ended before the flight",
        ),
        pytest.param(
            "ida",
            lambda people: models.User.objects.filter(pk=people.ida.pk).update(is_active=False),
            "is closed",
            id="whose account is closed",
        ),
    ],
)
def test_who_is_not_authorised_signs_nothing(people: Cast, who: str, prepare: Any, says: str) -> None:
    lesson = draft(people)
    prepare(people)
    by = models.User.objects.get(pk=getattr(people, who).pk)
    with pytest.raises(sign_offs.NotAuthorised, match=says) as refused:
        sign(lesson, by)
    assert all("(14 CFR " in each.message for each in refused.value.errors)
    assert not models.SignOff.objects.exists()
    assert not ledger.Entry.objects.exists()


def test_recent_experience_that_ends_today_is_enough(people: Cast) -> None:
    models.Role.objects.update(recent_experience_until=dt.date(2026, 3, 3))
    assert sign(draft(people), people.ida).pk


def test_a_student_who_instructs_does_not_sign_their_own(people: Cast) -> None:
    factories.role("instructor", at=people.school, whose=people.sams_account, certificate="0000003CFI")
    with pytest.raises(sign_offs.NotAuthorised, match="You cannot sign your own"):
        sign(draft(people), people.sams_account)


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(
    ("said", "given", "place"),
    [
        pytest.param(
            {"flight": None, "ground": None, "items": [], "comments": "", "next": ""},
            {},
            "content",
            id="nothing was flown or taught",
        ),
        pytest.param(
            content(flight=None, ground={"date": "2026-03-04", "time": "1 h"}),
            {},
            "content.ground.date",
            id="it is tomorrow's",
        ),
        pytest.param(
            CONTENT,
            {"performed_at": AT + sign_offs.CLOCK_DRIFT + dt.timedelta(microseconds=1)},
            "performed_at",
            id="signed later than a clock may run ahead",
        ),
        pytest.param(
            CONTENT,
            {"performed_at": AT - dt.timedelta(days=2)},
            "performed_at",
            id="signed before it",
        ),
    ],
)
def test_what_cannot_be_signed(people: Cast, said: Any, given: Any, place: str) -> None:
    lesson = draft(people, said)
    with pytest.raises(LessonError) as refused:
        sign(lesson, people.ida, **given)
    assert place in [fault.place for fault in refused.value.errors]
    assert not ledger.Entry.objects.exists()


# At once


def at_once(jobs: list[Any]) -> list[Any]:
    """What each job gave or raised, all begun together, each in a thread with a connection of its own."""
    together = threading.Barrier(len(jobs))

    def work(job: Any) -> Any:
        try:
            together.wait(30)
            return job()
        except Conflict as refusal:
            return refusal
        finally:
            connection.close()

    with ThreadPoolExecutor(len(jobs)) as pool:
        return list(pool.map(work, jobs))


@pytest.mark.django_db(transaction=True)
def test_twenty_identical_sign_offs_at_once_are_one(committed: Cast) -> None:
    lesson = draft(committed)
    got = at_once([lambda: sign(lesson, committed.ida)] * 20)
    assert {(each.pk, each.at, each.content_hash, each.ledger_index) for each in got} == {
        (each.pk, each.at, each.content_hash, each.ledger_index) for each in models.SignOff.objects.all()
    }
    assert len(got) == 20
    assert models.SignOff.objects.count() == models.Flight.objects.count() == 1
    assert sealed_kinds() == ["lesson.signed"]
    assert "WHOLE" in whole()


@pytest.mark.django_db(transaction=True)
def test_of_two_different_sign_offs_at_once_one_is_refused(committed: Cast) -> None:
    other = factories.instructor(committed.school, certificate="0000002CFI")
    lesson = draft(committed)
    got = at_once([lambda: sign(lesson, committed.ida), lambda: sign(lesson, other)])
    assert sorted(type(each).__name__ for each in got) == ["Conflict", "SignOff"]
    assert models.SignOff.objects.count() == models.Flight.objects.count() == 1
    assert sealed_kinds() == ["lesson.signed"]


@pytest.mark.django_db(transaction=True)
def test_a_sign_off_waits_for_a_change_and_sees_it(committed: Cast) -> None:
    """What it finds after the wait is the draft of then, not the one that stood there when it was sent."""
    lesson = draft(committed)
    changing = threading.Event()

    def change() -> models.LessonRecord:
        with transaction.atomic():
            changed = lesson_records.change(
                lesson,
                version=None,
                lesson="S1-L4",
                content=flown(remarks="calm"),
                by=committed.ida,
                at=AT,
                via="api",
            )
            changing.set()
            time.sleep(0.5)  # the sign-off comes to wait for this
        return changed

    def sign_meanwhile() -> Any:
        changing.wait(30)
        return sign(lesson, committed.ida)

    changed, refused = at_once([change, sign_meanwhile])
    assert isinstance(refused, NotAsRead)
    assert not models.SignOff.objects.exists()
    assert sign(changed, committed.ida).content_hash == changed.content_hash
    assert models.Flight.objects.get().remarks == "calm"


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_a_sign_off_that_waits_for_the_student_holds_no_lesson(committed: Cast) -> None:
    """So nobody who has the student locked waits in turn for it: locks are taken in one order."""
    lesson = draft(committed)
    with ThreadPoolExecutor(1) as pool, transaction.atomic():
        models.Student.objects.select_for_update().get(pk=committed.sam.pk)
        signing = pool.submit(at_once, [lambda: sign(lesson, committed.ida)])
        with connection.cursor() as cursor:
            until = time.monotonic() + 30
            while time.monotonic() < until:
                cursor.execute("SELECT count(*) FROM pg_locks WHERE NOT granted")
                if cursor.fetchone()[0]:
                    break
                time.sleep(0.05)
            else:
                pytest.fail("the sign-off does not wait for the student")
        assert models.LessonRecord.objects.select_for_update(nowait=True).get(pk=lesson.pk).state == "draft"
    (signed,) = signing.result(30)
    assert signed.lesson_id == lesson.pk


@pytest.mark.django_db(transaction=True)
def test_lessons_of_many_students_signed_at_once_leave_a_whole_ledger(committed: Cast) -> None:
    students = [factories.student(committed.school, taught_by=committed.ida) for _ in range(8)]
    days = [f"2026-02-{number:02}" for number in range(1, 9)]  # Ida is in one place at a time
    said = [flown(date=day, off=f"{day}T13:00:00-06:00", on=f"{day}T14:24:00-06:00") for day in days]
    drafts = [draft(committed, each, student=who) for each, who in zip(said, students, strict=True)]
    got = at_once([lambda each=each: sign(each, committed.ida) for each in drafts])
    assert sorted(each.ledger_index for each in got) == list(range(8))
    assert "WHOLE" in whole()


def test_a_fault_after_sealing_leaves_nothing(people: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    lesson = draft(people)

    def fails(*args: Any, **given: Any) -> None:
        raise RuntimeError("the disk is full")

    with monkeypatch.context() as broken:
        broken.setattr(sign_offs, "_STATE", fails)  # what is written last
        with pytest.raises(RuntimeError), transaction.atomic():
            sign(lesson, people.ida)
    lesson.refresh_from_db()
    assert lesson.state == "draft"
    for model in (ledger.Entry, models.SignOff, models.Flight, models.ItemGrade, models.Notice):
        assert not model.objects.exists()
    assert sign(lesson, people.ida).ledger_index == 0


# What is sealed stays


def attempt(statement: str) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)


@kept
def corrected(people: Cast) -> None:
    """A lesson that was acknowledged and corrected."""
    lesson = signed(people)
    sign_offs.acknowledge(lesson.pk, by=people.sams_account, at=AT, via="api")
    sign(correction(people, lesson), people.ida)


@pytest.mark.parametrize("change", ["UPDATE {} SET school_id = school_id", "DELETE FROM {}"])
@pytest.mark.parametrize("table", [*ONCE, *SEALED, "the lesson record"])
def test_raw_sql_changes_nothing_sealed(corrected: None, table: str, change: str) -> None:
    model = {**ONCE, **SEALED, "the lesson record": models.LessonRecord}[table]
    before = list(model.objects.values())
    assert before
    with pytest.raises(DatabaseError, match="is sealed"):
        attempt(change.format(model._meta.db_table))
    assert list(model.objects.values()) == before


@kept
def another_corrected(people: Cast) -> None:
    """Two lessons; the correction of one is none of the other."""
    signed(people)
    sign(correction(people, signed(people, flown(off=None, on=None))), people.ida)


@pytest.mark.parametrize("model", SEALED.values(), ids=SEALED)
def test_an_entry_is_not_retired_without_a_correction(another_corrected: None, model: Any) -> None:
    with pytest.raises(DatabaseError, match="is sealed"), transaction.atomic():
        model.objects.filter(retired_at__isnull=True).update(retired_at=AT)


def test_an_entry_is_retired_and_nothing_else_of_it_changes(people: Cast) -> None:
    lesson = signed(people)
    later = correction(people, lesson)
    sign(later, people.ida)
    for changed in ({"retired_at": None}, {"remarks": "none"}):
        with pytest.raises(DatabaseError, match="is sealed"), transaction.atomic():
            models.Flight.objects.filter(retired_at__isnull=False).update(**changed)


def test_a_draft_can_be_signed_only_once_by_raw_sql_too(people: Cast) -> None:
    lesson = signed(people)
    with pytest.raises(DatabaseError, match="is sealed"):
        attempt("UPDATE training_lessonrecord SET state = 'draft'")
    lesson.refresh_from_db()
    assert lesson.state == "signed"


def test_the_guards_can_be_taken_away_and_put_back(people: Cast) -> None:
    signed(people)
    with lessons.unguarded():
        models.Landing.objects.update(landings=4)
    with pytest.raises(DatabaseError, match="is sealed"), transaction.atomic():
        models.Landing.objects.update(landings=5)


@pytest.mark.parametrize("way", ["put in", "moved"])
def test_no_landing_is_added_to_a_sealed_flight(people: Cast, way: str) -> None:
    other = factories.recorded(
        factories.student(people.school),
        flights=(engine.Flight("f1", AT.date(), landings=(engine.Landings(None, 1, 1),)),),
    )
    signed(people)
    flight = models.Flight.objects.get(sealed=True)

    def more() -> None:
        if way == "moved":
            models.Landing.objects.filter(student=other).update(flight=flight, position=5)
        else:
            models.Landing.objects.create(
                school=people.school, student=people.sam, flight=flight, position=5, landings=1
            )

    with pytest.raises(DatabaseError, match="is sealed"), transaction.atomic():
        more()
    models.Landing.objects.filter(student=other).update(landings=2)  # no sealed one is as free as ever
    assert models.Landing.objects.filter(flight=flight).count() == 1


# The student's own signature


def test_the_student_acknowledges_once(people: Cast) -> None:
    lesson = signed(people)
    first = sign_offs.acknowledge(lesson.pk, by=people.sams_account, at=AT, via="api")
    again = sign_offs.acknowledge(lesson.pk, by=people.sams_account, at=AT + dt.timedelta(1), via="api")
    assert (again.pk, again.at) == (first.pk, AT)
    assert sealed_kinds() == ["lesson.signed", "lesson.acknowledged"]
    body = ledger.Entry.objects.get(index=1).kept.value
    assert (body["sign_off"], body["lesson_record"]) == (0, str(lesson.pk))


@pytest.mark.parametrize("who", ["ida", "ada", "olaf", "ottos_account"])
def test_nobody_else_acknowledges(people: Cast, who: str) -> None:
    lesson = signed(people)
    with pytest.raises(NotAllowed, match="Only the student"):
        sign_offs.acknowledge(lesson.pk, by=getattr(people, who), at=AT, via="api")
    assert not models.Acknowledgement.objects.exists()


def test_a_draft_is_not_acknowledged(people: Cast) -> None:
    with pytest.raises(Conflict, match="is not signed yet"):
        sign_offs.acknowledge(draft(people).pk, by=people.sams_account, at=AT, via="api")


# Corrections


def test_a_correction_takes_the_place_and_both_stay(people: Cast) -> None:
    lesson = signed(people)
    later = correction(people, lesson)
    student = models.Student.objects.get(pk=people.sam.pk)
    assert [each.id for each in record.of(student).flights] == [f"{lesson.pk}/flight"]  # a draft is no change

    done_at = AT + dt.timedelta(hours=1)
    sign(later, people.ida, at=done_at)
    student.refresh_from_db()
    (flight,) = record.of(student).flights
    assert (flight.id, flight.times["dual"]) == (f"{later.pk}/flight", 72 * MINUTES)
    known = record.of(student, known_at=AT + dt.timedelta(minutes=1))
    assert [each.times["dual"] for each in known.flights] == [84 * MINUTES]

    found = models.Correction.objects.get()
    assert (found.lesson, found.successor, found.reason) == (lesson, later, "wrong time")
    assert models.SignOff.objects.count() == 2
    assert sealed_kinds() == ["lesson.signed", "lesson.signed", "lesson.corrected"]
    body = ledger.Entry.objects.get(index=2).kept.value
    assert (body["sign_off"], body["successor_sign_off"], body["reason"]) == (0, 1, "wrong time")
    assert set(models.Landing.objects.values_list("retired_at", flat=True)) == {done_at, None}
    assert models.Notice.objects.filter(kind="lesson-corrected", about=str(later.pk)).exists()
    assert "WHOLE" in whole()


@pytest.mark.any_database  # others here make these queries on SQLite
def test_a_correction_is_corrected_in_turn_and_the_first_not_again(people: Cast) -> None:
    lesson = signed(people)
    one, other = correction(people, lesson), correction(people, lesson, reason="wrong day")
    sign(one, people.ida)
    with pytest.raises(Conflict, match=str(one.pk)):
        sign(other, people.ida)
    with pytest.raises(Conflict, match="was corrected already"):
        correction(people, lesson)
    one.refresh_from_db()
    third = correction(people, one, reason="once more")
    sign(third, people.ida)
    student = models.Student.objects.get(pk=people.sam.pk)
    assert [each.id for each in record.of(student).flights] == [f"{third.pk}/flight"]


def test_a_draft_is_changed_not_corrected(people: Cast) -> None:
    with pytest.raises(Conflict, match="is not signed yet"):
        correction(people, draft(people))


def test_what_is_signed_is_not_changed(people: Cast) -> None:
    from training.services.lessons import lesson_records

    lesson = signed(people)
    with pytest.raises(AlreadySigned):
        lesson_records.change(lesson, version=1, lesson="", content=CONTENT, by=people.ida, at=AT, via="api")
    with pytest.raises(Conflict, match="has this id"):
        draft(people, content(comments="other"), id=lesson.pk)
