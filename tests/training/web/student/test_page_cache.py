"""The parts of a student's pages that are kept: never an old one, never another reader's, and made ahead."""

from __future__ import annotations

import contextlib
import dataclasses
import datetime as dt
import itertools
import re
import sys
import uuid
from collections.abc import Callable, Iterable, Iterator
from typing import Any

import pytest
import time_machine
from django.core import signing
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext, override_script_prefix, override_settings
from django.utils import timezone

from syllabus.law import rulebook
from syllabus.models import SchoolMinimum
from tests.support import courses, factories, lessons
from tests.support.cast import Cast
from tests.support.kept import kept
from tests.support.page_cache import cached, say
from tests.support.pickled import PICKLED, Planted
from training import models
from training.services import sweep as sweeping
from training.services.lessons import sign_offs
from training.services.records import erasure, page_cache
from training.services.records.page_cache import CACHE, TABLE
from training.services.sweep import Swept
from training.web.student.page_cache import PAGES

#: The day after the lesson.
THE_DAY = lessons.AT + dt.timedelta(days=1)
#: Those of one student; the list of students has a test of its own.
ADDRESSES = {"standing": "standing/", "hours": "hours/", "lessons": "lessons/", "rules": ""}
MARK = "what was kept"


@kept
def learning(taught: Cast) -> Cast:
    """Sam is in the shipped course, and Ida signed a lesson of it."""
    courses.enrolled(taught)
    lessons.signed(
        taught, lessons.content(items=[{"item": "steep-turns", "grade": "explain"}]), lesson="2-02"
    )
    return taught


def shown(client: Client, people: Cast, page: str) -> str:
    answer = client.get(f"/students/{people.sam.ref}/{ADDRESSES[page]}")
    assert answer.status_code == 200
    return answer.content.decode()


def marked(client: Client, people: Cast, pages: Iterable[str] = ADDRESSES) -> None:
    """What is kept of the pages says so from now on, and they show it."""
    CACHE.clear()
    for page in pages:
        assert MARK not in shown(client, people, page)
    assert say(MARK) == len(list(pages))
    assert showing(client, people) == set(pages)


def showing(client: Client, people: Cast) -> set[str]:
    """The pages that are shown as they were kept."""
    return {page for page in ADDRESSES if MARK in shown(client, people, page)}


def sql(statement: str, *values: Any) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)


def _minimum(people: Cast) -> None:
    SchoolMinimum.objects.create(
        school_ref=people.school.slug,
        milestone="faa.first-solo",
        code="dual",
        kind="total_at_least",
        params={"counts": ["dual"], "need": "15 h"},
        says="15 hours of dual",
        starts=dt.date(2026, 1, 1),
    )


def _student(column: str, value: Any) -> Callable[[Cast], None]:
    return lambda people: sql(
        f"UPDATE training_student SET {column} = %s WHERE id = %s",
        value,
        people.sam.pk,
    )


def _of_the_record(table: str) -> Callable[[Cast], None]:
    """A row of the record is retired, past every service."""
    return lambda people: sql(
        f"UPDATE {table} SET retired_at = %s WHERE student_id = %s",
        "2026-03-04 00:00:00+00:00",
        people.sam.pk,
    )


RECORD: dict[str, Callable[[Cast], Any]] = {
    "a paper": _of_the_record("training_document"),
    "an endorsement": _of_the_record("training_endorsement"),
    "a test": _of_the_record("training_test"),
    "the enrolment": lambda people: sql(
        "UPDATE training_enrolment SET ends = %s WHERE student_id = %s", "2026-03-03", people.sam.pk
    ),
    "a lesson that is signed": lambda people: lessons.signed(people, lesson="2-03"),
    "the name": _student("name", "Sam Other"),
    "the birth date": _student("birth_date", "2010-01-01"),
    "the model": _student("training_model", "C152"),
    "the time zone": lambda people: sql("UPDATE training_school SET time_zone = 'America/Denver'"),
    "a minimum of the school's own": _minimum,
}


@contextlib.contextmanager
def taken_back() -> Iterator[None]:
    """What is written in the block is taken back after it, and so is what was kept of pages."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def test_whatever_the_pages_rest_on_changes_them(client: Client, learning: Cast) -> None:
    client.force_login(learning.sams_account)
    with time_machine.travel(THE_DAY, tick=False):
        marked(client, learning)
        for what, change in RECORD.items():
            with taken_back():
                change(learning)
                assert showing(client, learning) == set(), what
        assert showing(client, learning) == set(ADDRESSES)


@pytest.mark.any_database  # others here make these queries on SQLite
def test_another_day_at_the_school_changes_them(client: Client, learning: Cast) -> None:
    client.force_login(learning.sams_account)
    midnight = dt.datetime(2026, 3, 5, 6, tzinfo=dt.UTC)  # in Chicago
    with time_machine.travel(midnight - dt.timedelta(seconds=1), tick=False) as clock:
        marked(client, learning)
        clock.move_to(midnight)
        assert showing(client, learning) == set()


@pytest.mark.any_database  # others here make these queries on SQLite
def test_other_rules_and_another_program_change_them(
    client: Client, learning: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    client.force_login(learning.sams_account)
    with time_machine.travel(THE_DAY, tick=False):
        marked(client, learning)
        book = rulebook.current()
        other = dataclasses.replace(book, id="sha256:other")
        with monkeypatch.context() as meanwhile:
            meanwhile.setattr(rulebook, "current", lambda: other)
            assert showing(client, learning) == set()
        marked(client, learning)
        monkeypatch.setattr(page_cache, "made_by", lambda: "another")
        assert showing(client, learning) == set()


def test_each_place_and_each_language_has_its_own(client: Client, learning: Cast) -> None:
    client.force_login(learning.sams_account)
    with time_machine.travel(THE_DAY, tick=False):
        marked(client, learning)
        with override_script_prefix("/training/"):
            below = shown(client, learning, "lessons")
        assert MARK not in below
        assert f'href="/training/students/{learning.sam.ref}/lessons/' in below
        marked(client, learning)
        with override_settings(LANGUAGES=[("en", "English"), ("de", "Deutsch")]):
            models.ReminderPreferences.objects.create(user=learning.sams_account, language="de")
            assert showing(client, learning) == set()
            models.ReminderPreferences.objects.update(language="en")
            assert showing(client, learning) == set(ADDRESSES)


def test_the_program_is_told_from_another_by_any_of_its_files(tmp_path, settings) -> None:
    for folder in page_cache.PACKAGES:
        (tmp_path / folder / "web").mkdir(parents=True)
        (tmp_path / folder / "web" / "page.html").write_text("as it is")
    settings.BASE_DIR = tmp_path
    asked = page_cache.made_by.__wrapped__
    first = asked()
    assert asked() == first
    (tmp_path / "training" / "web" / "page.html").write_text("as it will be")
    second = asked()
    (tmp_path / "syllabus" / "rules.yaml").write_text("")
    assert len({first, second, asked()}) == 3


# Lessons


def _acknowledged(people: Cast, lesson: models.LessonRecord) -> None:
    sign_offs.acknowledge(lesson.pk, by=people.sams_account, at=THE_DAY, via="web")


def _corrected(people: Cast, lesson: models.LessonRecord) -> None:
    lessons.signed(
        people, lesson="2-02", corrects=lesson, reason="a slip", said=lessons.flown(remarks="calm after all")
    )


def _drafted(people: Cast, lesson: models.LessonRecord) -> None:
    lessons.draft(people, id=uuid.uuid4(), lesson="2-03")


@pytest.mark.any_database  # others here, test_translation and test_planted_ids make these queries on SQLite
def test_whatever_happens_to_lessons_changes_their_page_and_a_draft_no_other(
    client: Client, learning: Cast
) -> None:
    client.force_login(learning.ida)
    left: dict[Any, set[str]] = {}
    with time_machine.travel(THE_DAY, tick=False):
        marked(client, learning)
        for change in (_acknowledged, _corrected, _drafted):
            with taken_back():
                change(learning, models.LessonRecord.objects.get())
                left[change] = showing(client, learning)
                assert "lessons" not in left[change], change
    assert left[_drafted] == set(ADDRESSES) - {"lessons"}


@pytest.mark.any_database  # others here make these queries on SQLite
def test_drafts_are_kept_apart_from_what_the_student_reads(client: Client, learning: Cast) -> None:
    with time_machine.travel(THE_DAY, tick=False):
        lessons.draft(learning, lesson="2-03")
        for who, drafts in ((learning.ida, 1), (learning.sams_account, 0), (learning.ada, 1)):
            client.force_login(who)
            for _ in range(2):
                assert shown(client, learning, "lessons").count("Not signed yet") == drafts


@pytest.mark.any_database  # others here make these queries on SQLite
def test_only_the_first_of_many_pages_is_kept(client: Client, learning: Cast) -> None:
    client.force_login(learning.ida)
    with time_machine.travel(THE_DAY, tick=False):
        for _ in range(21):
            lessons.draft(learning, lesson="2-03")
        for number in ("2", "3", "99", "x", "1"):
            answer = client.get(f"/students/{learning.sam.ref}/lessons/", {"page": number})
            assert "Pages of lessons" in answer.content.decode()
    assert len(cached("lessons")) == 1


# Readers


def test_what_is_kept_opens_to_nobody_and_every_look_is_noted(client: Client, learning: Cast) -> None:
    with time_machine.travel(THE_DAY, tick=False):
        client.force_login(learning.sams_account)
        marked(client, learning)
        noted = models.AccessLog.objects.filter(student=learning.sam, user=learning.sams_account, via="web")
        assert noted.count() == 2 * len(ADDRESSES)
        for stranger in (learning.olaf, learning.ottos_account):
            client.force_login(stranger)
            for page in ADDRESSES.values():
                assert client.get(f"/students/{learning.sam.ref}/{page}").status_code == 404


def _pickled(key: str, value: str) -> str:
    return PICKLED


def _with_a_script(key: str, value: str) -> str:
    state, _ = signing.loads(value, salt=key)
    return signing.dumps([state, f"{MARK}<script></script>"], key="a guess", salt=key)


def _of_another_student(key: str, value: str) -> str:
    state, _ = signing.loads(value, salt=key)
    return signing.dumps([state, MARK], salt=key.replace(":", ":9", 1))


@pytest.mark.parametrize("planted", [_pickled, _with_a_script, _of_another_student])
def test_whoever_writes_to_the_database_puts_nothing_into_a_page_and_runs_nothing(
    client: Client, learning: Cast, planted: Callable[[str, str], str]
) -> None:
    CACHE.clear()
    client.force_login(learning.ida)
    as_made = _plain(shown(client, learning, "hours"))
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT cache_key, value FROM {TABLE}")
        rows = cursor.fetchall()
        assert rows
        for key, value in rows:
            cursor.execute(f"UPDATE {TABLE} SET value = %s WHERE cache_key = %s", [planted(key, value), key])
    assert _plain(shown(client, learning, "hours")) == as_made
    assert not Planted.ran


@pytest.mark.any_database  # others here and test_guardian_accounts make these queries on SQLite
def test_nothing_of_the_reader_is_kept_and_a_kept_page_is_the_one_that_was_made(
    client: Client, learning: Cast
) -> None:
    models.School.objects.filter(pk=learning.school.pk).update(of_age_at=99)
    gus = factories.user(name="Gus Example")
    factories.guardian(learning.sam, user=gus)
    with time_machine.travel(THE_DAY, tick=False):
        for who, page in itertools.product((learning.sams_account, learning.ida, gus), ADDRESSES):
            client.force_login(who)
            CACHE.clear()
            made, kept = (_plain(shown(client, learning, page)) for _ in range(2))
            assert made == kept
            with override_settings(DEBUG=True), timezone.override("Pacific/Auckland"):
                assert _plain(shown(client, learning, page)) == made
            (body,) = cached().values()
            assert body.strip() in made
            assert not re.search(rf"csrf|<form|{who.get_short_name()}, ", body)


def _plain(body: str) -> str:
    """A page without what is drawn anew for each answer."""
    return re.sub(r'name="csrfmiddlewaretoken" value="\w+"', "", body)


@pytest.mark.any_database  # others here make these queries on SQLite
def test_while_debugging_nothing_is_kept(client: Client, learning: Cast) -> None:
    client.force_login(learning.ida)
    with override_settings(DEBUG=True), time_machine.travel(THE_DAY, tick=False):
        shown(client, learning, "standing")
        assert page_cache.waiting(10) == []
    assert cached() == {}


# What is kept is of the record as it is


@pytest.mark.any_database  # others here make these queries on SQLite
def test_what_changed_while_it_was_made_is_not_kept(
    client: Client, learning: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = PAGES["standing"].make

    def meanwhile(student: models.Student, on: dt.date, variant: str) -> Any:
        made = real(student, on, variant)
        _of_the_record("training_document")(learning)
        return made

    monkeypatch.setitem(PAGES, "standing", page_cache.Page(meanwhile))  # type: ignore[arg-type]
    client.force_login(learning.sams_account)
    with time_machine.travel(THE_DAY, tick=False):
        shown(client, learning, "standing")
    assert cached() == {}


def test_an_erasure_takes_it_away_and_who_read_before_puts_nothing_back(learning: Cast) -> None:
    models.Enrolment.objects.all().update(ends=dt.date(2026, 3, 3))
    before = models.Student.objects.select_related("school").get(pk=learning.sam.pk)
    page_cache.part(before, "standing", THE_DAY.date())
    assert list(cached()) == [f"{before.pk}:standing:en:"]
    later = dt.datetime(2040, 1, 1, tzinfo=dt.UTC)
    rows = erasure.plan(learning.sam, later.date()).rows
    assert "flights" in rows
    erasure.erase(learning.sam, "asked for", by=learning.ada, at=later, via="command")
    assert cached() == {}
    page_cache.part(before, "hours", THE_DAY.date())
    assert cached() == {}
    with time_machine.travel(later, tick=False):
        sweeping.sweep()
    assert not [key for key in cached() if key.startswith(f"{before.pk}:")]


# Made ahead


def swept(at: dt.datetime) -> Swept:
    done = sweeping.sweep(now=lambda: at)
    assert done.faults == []
    return done


@pytest.mark.any_database  # others here, test_translation and test_reminders make these queries on SQLite
def test_the_sweep_makes_them_so_that_nobody_waits(client: Client, learning: Cast) -> None:
    def nobody_waits() -> None:
        for who, page in itertools.product((learning.sams_account, learning.ida), ADDRESSES):
            client.force_login(who)
            with time_machine.travel(THE_DAY, tick=False), CaptureQueriesContext(connection) as queries:
                shown(client, learning, page)
            assert len(queries) <= 6
            assert not [each for each in queries if each["sql"].startswith(f'INSERT INTO "{TABLE}"')]

    assert swept(THE_DAY).rendered == 2
    assert page_cache.waiting(10) == []
    nobody_waits()
    with time_machine.travel(THE_DAY, tick=False):
        lessons.signed(learning, lesson="2-03")
    assert swept(THE_DAY + dt.timedelta(minutes=1)).rendered == 1
    nobody_waits()


def test_they_are_made_for_the_next_day_and_by_the_next_program_and_else_left(
    learning: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert [swept(THE_DAY).rendered for _ in range(2)] == [2, 0]
    the_next = THE_DAY + dt.timedelta(days=1)
    assert [swept(the_next).rendered for _ in range(2)] == [2, 0]
    monkeypatch.setattr(page_cache, "made_by", lambda: "another")
    monkeypatch.setattr(sys.modules[Swept.__module__], "MOST_RENDERED", 1)
    assert [swept(the_next).rendered for _ in range(3)] == [1, 1, 0]


@pytest.mark.any_database  # others here, test_translation and test_sweeping make these queries on SQLite
def test_a_page_that_cannot_be_made_holds_up_no_other_and_is_noted_once(
    learning: Cast, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(*_: Any) -> Any:
        raise ArithmeticError("no")

    monkeypatch.setitem(PAGES, "hours", page_cache.Page(broken))  # type: ignore[arg-type]
    assert [swept(THE_DAY).rendered for _ in range(2)] == [0, 0]
    assert {key.split(":")[1] for key in cached()} == set(PAGES) - {"hours"}
    assert caplog.text.count("the page hours of student") == 2


@pytest.mark.any_database  # others here, test_translation and test_not_covered make these queries on SQLite
def test_they_are_made_in_the_language_of_the_student(learning: Cast) -> None:
    models.ReminderPreferences.objects.create(user=learning.sams_account, language="de")
    swept(THE_DAY)
    assert {key.split(":")[2] for key in cached() if key.startswith(f"{learning.sam.pk}:")} == {"de"}
