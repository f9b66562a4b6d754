"""Versions of a course in the database: drafts change, published ones never do, whoever writes."""

from __future__ import annotations

import datetime as dt
import pathlib
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, IntegrityError, connection, transaction

from syllabus import models
from syllabus.courses import files, outlines
from syllabus.engine.course.changes import carry_over, compare
from syllabus.engine.course.course import CourseError, Outline
from syllabus.engine.record.document import parse
from syllabus.engine.record.record import FORMAT
from syllabus.engine.rules.evaluate import evaluate
from syllabus.law.rulebook import current
from syllabus.models import NotADraft
from tests.support.published import lifted
from training.triggers import courses as freezing

FILE = pathlib.Path(__file__).parents[3] / "fixtures" / "courses" / "private-airplane.yaml"
AT = dt.datetime(2026, 11, 24, 12, 0, tzinfo=dt.UTC)
DAY = AT.date()

SMALL = """\
course: small
title: A small course
says: Two lessons of invented items
minimums:
  - {code: dual, kind: total_at_least, counts: [dual], need: 2 h, says: 2 hours dual}
stages:
  - code: only
    title: The only stage
    objective: To have one
    completion: Both lessons
    lessons:
      - code: "1"
        title: First
        objective: Begin
        completion: Begun
        times: {dual: 1:00, ground: 20 min}
        items: {climbs: practice}
      - code: "2"
        title: Second
        objective: Go on
        completion: Done
        times: {dual: 1.4 h}
        items: {pattern: practice, climbs: perform}
items:
  - code: climbs
    title: Climbs
    objective: Climb
    proves: [presolo.d-05]
    standard:
      - {name: airspeed, named: VY, low: -5 kt, high: +10 kt, source: a test, verified: memory}
  - code: pattern
    title: Pattern
    objective: Fly the pattern
    task: FAA-S-ACS-6C PA.III.B
    prerequisites: [climbs]
""".replace("1:00", "60 min")


def small(**changes: Any) -> Outline:
    return replace(files.read(SMALL, "small.yaml"), **changes)


def published(outline: Outline | None = None, school: str | None = None) -> models.CourseVersion:
    return outlines.publish(outlines.save(outline or small(), school).version, AT)


def document() -> dict[str, Any]:
    """The parts of the only version, as they are kept."""
    found: dict[str, Any] = models.CourseParts.objects.get().document
    return found


def titled(version: models.CourseVersion, title: str) -> int:
    """Gives the first item of a version another title, past the models; how many rows that changed."""
    parts = models.CourseParts.objects.filter(version=version)
    kept = parts.get().document
    kept["items"][0]["title"] = title
    return parts.update(document=kept)


@pytest.fixture
def version(db: None) -> models.CourseVersion:
    return published()


@pytest.mark.django_db
def test_what_is_kept_is_what_was_given() -> None:
    given = files.read_bytes(FILE.read_bytes(), FILE.name)
    saved = outlines.save(given).version
    kept = outlines.outline(models.CourseVersion.objects.get(pk=saved.pk))
    assert files.write(kept) == files.write(given)
    assert kept == given
    assert saved.content_hash == files.content_hash(kept)


@pytest.mark.django_db
@pytest.mark.parametrize("given", [small(), files.read_bytes(FILE.read_bytes(), FILE.name)], ids=["2", "29"])
def test_a_version_is_read_in_one_query_whatever_its_size(given, django_assert_num_queries) -> None:
    saved = outlines.save(given).version
    again = models.CourseVersion.objects.select_related("course").get(pk=saved.pk)
    with django_assert_num_queries(1):
        outlines.outline(again)


@pytest.mark.django_db
def test_a_draft_is_replaced_and_a_published_version_followed_by_the_next() -> None:
    first = outlines.save(small())
    assert (first.version.number, first.version.state, first.changed) == (1, "draft", True)
    second = outlines.save(small(title="Better"))
    assert (second.version.number, second.version.title) == (1, "Better")
    assert models.CourseVersion.objects.count() == 1
    outlines.publish(second.version, AT)
    same = outlines.save(small(title="Better"))
    assert (same.version.pk, same.changed) == (second.version.pk, False)
    third = outlines.save(small(title="Best"))
    assert (third.version.number, third.version.state, third.changed) == (2, "draft", True)
    differences = compare(outlines.outline(second.version), outlines.outline(third.version))
    assert [change.words for change in differences] == ["course small: title was Better, is Best"]
    assert outlines.newest("small", None) == second.version
    assert outlines.newest("small", None, published=False) == third.version


@pytest.mark.django_db
def test_a_course_that_does_not_hang_together_is_neither_kept_nor_published() -> None:
    with pytest.raises(CourseError):
        outlines.save(small(items=small().items[:1]))
    assert not models.Course.objects.exists()
    draft = outlines.save(small()).version
    kept = document()
    del kept["stages"][0]["lessons"][1]["items"]["pattern"]
    models.CourseParts.objects.update(document=kept)
    with pytest.raises(CourseError, match="no lesson plans the item 'pattern'"):
        outlines.publish(draft, AT)
    models.CourseParts.objects.update(document=kept | {"chapters": []})
    with pytest.raises(CourseError, match="unknown key 'chapters'"):
        outlines.publish(draft, AT)
    draft.refresh_from_db()
    assert draft.state == "draft"


@pytest.mark.django_db
def test_what_hung_together_is_read_whatever_the_rules_say_later(version: models.CourseVersion) -> None:
    with lifted():
        kept = document()
        kept["items"][0]["proves"] = ["presolo.of-former-days"]
        models.CourseParts.objects.update(document=kept)
    assert outlines.outline(version).items[0].proves == ("presolo.of-former-days",)


@pytest.mark.django_db
def test_the_items_of_a_lesson_are_kept_in_their_order() -> None:
    """The database would keep the keys of ``jsonb`` in an order of its own, and the hash would be another."""
    outlines.save(small())
    lessons = document()["stages"][0]["lessons"]
    assert list(lessons[1]["items"]) == ["pattern", "climbs"]
    assert list(lessons[1]) == ["code", "title", "objective", "completion", "times", "items"]


@pytest.mark.django_db
def test_what_is_published_is_what_the_database_has() -> None:
    draft = outlines.save(small()).version
    kept = document()
    kept["stages"][0]["lessons"][1]["times"]["dual"] = "2 h"
    models.CourseParts.objects.update(document=kept)
    frozen = outlines.publish(draft, AT)
    assert frozen.content_hash != draft.content_hash
    assert frozen.content_hash == files.content_hash(outlines.outline(frozen))
    with pytest.raises(NotADraft, match="small version 1 is published and stays as it is"):
        outlines.publish(draft, AT)


def test_a_published_version_is_refused_with_a_sentence(version: models.CourseVersion) -> None:
    parts = models.CourseParts.objects.get()
    for attempt in (
        version.save, version.delete, parts.save, parts.delete,
        models.CourseParts(version=version, document={}).save,
    ):  # fmt: skip
        with pytest.raises(NotADraft, match="make a new version"):
            attempt()


def rows() -> list[Callable[[models.CourseVersion], Any]]:
    """Ways past the models: each must be refused by the database."""
    parts = models.CourseParts.objects
    made: list[Any] = [
        pytest.param(lambda v: titled(v, "X"), id="the parts changed"),
        pytest.param(lambda _: parts.all()._raw_delete("default"), id="the parts deleted"),
        pytest.param(
            lambda v: parts.bulk_create([models.CourseParts(version=v, document={})]), id="parts added"
        ),
    ]
    versions = models.CourseVersion.objects
    made += [
        pytest.param(lambda v: versions.filter(pk=v.pk).update(title="X"), id="the version's title changed"),
        pytest.param(
            lambda v: versions.filter(pk=v.pk).update(state="draft", published_at=None),
            id="the version made a draft again",
        ),
        pytest.param(lambda v: versions.filter(pk=v.pk)._raw_delete("default"), id="the version deleted"),
        pytest.param(
            lambda v: versions.bulk_create(
                [
                    models.CourseVersion(
                        course=v.course, number=9, state="published", published_at=AT, title="x"
                    )
                ]
            ),
            id="a version that begins as published",
        ),
        pytest.param(
            lambda _: models.Course.objects.update(school_ref="elsewhere"), id="the course given away"
        ),
        pytest.param(lambda _: models.Course.objects.update(code="other"), id="the course renamed"),
        pytest.param(lambda _: models.Course.objects.all()._raw_delete("default"), id="the course deleted"),
    ]
    return made


@pytest.mark.parametrize("attempt", rows())
def test_the_database_keeps_a_published_version(attempt, version: models.CourseVersion) -> None:
    before = files.write(outlines.outline(version))
    with pytest.raises(DatabaseError, match="belongs to a published course version"), transaction.atomic():
        attempt(version)
    assert files.write(outlines.outline(version)) == before


def test_parts_are_not_moved_into_or_out_of_a_published_version(version: models.CourseVersion) -> None:
    draft = outlines.save(small(title="Next")).version
    for source, target in ((version, draft), (draft, version)):
        with pytest.raises(DatabaseError, match="published course version"), transaction.atomic():
            models.CourseParts.objects.filter(version=source).update(version=target)


@pytest.mark.sqlite
@pytest.mark.parametrize("table", sorted(freezing.TABLES))
def test_a_row_is_not_replaced_by_an_insert(table: str, version: models.CourseVersion) -> None:
    """SQLite's INSERT OR REPLACE deletes without firing a delete trigger."""
    insert = f"INSERT OR REPLACE INTO {table} SELECT * FROM {table} LIMIT 1"
    with (
        connection.cursor() as cursor,
        pytest.raises(DatabaseError, match="published course version"),
        transaction.atomic(),
    ):
        cursor.execute(insert)


@pytest.mark.postgresql
@pytest.mark.parametrize("table", sorted(freezing.TABLES))
def test_a_table_is_not_emptied_under_a_published_version(table: str, version: models.CourseVersion) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        with pytest.raises(DatabaseError, match="published course version"), transaction.atomic():
            cursor.execute(f"TRUNCATE {table} CASCADE")


def test_a_draft_beside_a_published_version_may_still_change(version: models.CourseVersion) -> None:
    draft = outlines.save(small(title="Next")).version
    assert titled(draft, "Climbing") == 1
    parts = models.CourseParts.objects.get(version=draft)
    parts.document["stages"][0]["title"] = "The first stage"
    parts.save()
    draft.delete()
    assert list(models.CourseVersion.objects.all()) == [version]


@pytest.mark.django_db
def test_with_the_triggers_lifted_the_hash_shows_what_was_changed() -> None:
    version = published()
    with lifted():
        assert titled(version, "Quietly changed") == 1
    assert files.content_hash(outlines.outline(version)) != version.content_hash
    with pytest.raises(DatabaseError), transaction.atomic():
        titled(version, "Climbs")


@pytest.mark.django_db
def test_two_schools_may_have_courses_of_one_code_and_see_only_their_own() -> None:
    ours = published(small(title="Of the product"))
    north, south = published(small(title="North's"), "north"), published(small(title="South's"), "south")
    assert outlines.newest("small", "north") == north
    assert list(outlines.open_to("north")) == [ours, north]
    assert list(outlines.open_to("south")) == [ours, south]
    assert list(outlines.open_to("elsewhere")) == [ours]


@pytest.mark.django_db
@pytest.mark.parametrize("school", [None, "north"])
def test_a_course_stands_once_in_a_school_and_once_in_the_product(school: str | None) -> None:
    models.Course.objects.create(code="small", school_ref=school)
    with pytest.raises(IntegrityError), transaction.atomic():
        models.Course.objects.create(code="small", school_ref=school)


@pytest.mark.django_db
def test_there_is_one_draft_at_a_time() -> None:
    draft = outlines.save(small()).version
    with pytest.raises(IntegrityError), transaction.atomic():
        models.CourseVersion.objects.create(course=draft.course, number=2, title="x", says="x")


@pytest.mark.django_db
def test_what_was_passed_is_carried_over_between_versions_that_are_kept() -> None:
    old = published()
    changed = files.read(SMALL.replace("-5 kt", "-3 kt"), "small.yaml")
    new = published(changed)
    before, after = outlines.outline(old), outlines.outline(new)
    found = carry_over(before, after, {"climbs": "perform", "pattern": "practice"})
    assert [(each.item, each.carries, each.why) for each in found] == [
        ("climbs", False, "airspeed is tighter now: VY -3/+10 kt, was VY -5/+10 kt"),
        ("pattern", True, ""),
    ]


def minimum(**changes: Any) -> models.SchoolMinimum:
    fields: dict[str, Any] = {
        "school_ref": "north",
        "milestone": "faa.first-solo",
        "code": "dual",
        "kind": "total_at_least",
        "params": {"counts": ["dual"], "need": "15 h"},
        "says": "15 hours dual before solo, for the insurer",
        "starts": DAY,
    }
    return models.SchoolMinimum(**(fields | changes))


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("changes", "field", "says"),
    [
        pytest.param({"kind": "milestone"}, "kind", "is not a kind of minimum", id="a milestone inside one"),
        pytest.param({"kind": "totals"}, "kind", "is not a kind of minimum; use one of age_at", id="no kind"),
        pytest.param({"milestone": "faa.no-such"}, "milestone", "there is no milestone", id="no milestone"),
        pytest.param({"params": {"counts": ["dual"]}}, "kind", "needs 'need'", id="no number"),
        pytest.param(
            {"params": {"counts": ["dual"], "need": "15 NM"}}, "params", "is a distance", id="hours in miles"
        ),
        pytest.param(
            {"params": {"counts": ["dual"], "need": "15 h", "x": 1}},
            "params",
            "knows no 'x'",
            id="a key more",
        ),
        pytest.param({"params": ["dual"]}, "params", "is not a mapping", id="a list"),
        pytest.param({"code": "Dual!"}, "code", "is not a code", id="no code"),
    ],
)
def test_a_schools_minimum_is_checked_as_regulation_data_is(changes, field: str, says: str) -> None:
    with pytest.raises(ValidationError) as caught:
        minimum(**changes).save()
    assert says in " ".join(caught.value.message_dict[field])
    assert not models.SchoolMinimum.objects.exists()


@pytest.mark.django_db
def test_a_schools_minimum_has_one_version_on_a_day() -> None:
    minimum(ends=dt.date(2026, 12, 31)).save()
    with pytest.raises(ValidationError, match="one must end before the other starts"):
        minimum(starts=dt.date(2026, 12, 31)).save()
    minimum(starts=dt.date(2027, 1, 1)).save()
    minimum(school_ref="south").save()
    assert models.SchoolMinimum.objects.count() == 3


@pytest.mark.django_db
def test_a_schools_minimum_is_asked_beside_the_law_and_shown_as_the_schools() -> None:
    minimum(starts=dt.date(2026, 1, 1), ends=DAY).save()
    record = parse({"format": FORMAT, "student": {"name": "Sam Example", "birth_date": "2008-01-01"}})
    rules = outlines.rulebook_for("north", DAY)
    report = evaluate(rules, record, "faa.first-solo", DAY).as_json()
    added = report["requirements"][-1]
    assert added["id"] == "faa.first-solo.school.dual"
    assert added["citation"] == "the school's own minimum, not a regulation"
    assert (added["met"], added["need"], added["says"]) == (
        False, "15.0 h", "15 hours dual before solo, for the insurer",
    )  # fmt: skip
    law = evaluate(current(), record, "faa.first-solo", DAY).as_json()["requirements"]
    assert report["requirements"][:-1] == law
    assert report["rulebook"] != current().id
    assert outlines.rulebook_for("north", DAY).id == rules.id
    assert outlines.rulebook_for("south", DAY) is current()
    assert outlines.rulebook_for("north", DAY + dt.timedelta(days=1)) is current()
    assert outlines.rulebook_for("north", dt.date(2025, 12, 31)) is current()


@pytest.mark.django_db
def test_a_courses_minimums_are_a_milestone_of_their_own() -> None:
    version = published()
    record = parse({"format": FORMAT, "student": {"name": "Sam Example", "birth_date": "2008-01-01"}})
    rules = outlines.rulebook_for("north", DAY, version)
    report = evaluate(rules, record, "course.small", DAY).as_json()
    (asked,) = report["requirements"]
    assert (asked["id"], asked["need"]) == ("course.small.course.dual", "2.0 h")
    assert asked["citation"] == "the course's own minimum, not a regulation"
    assert set(rules.milestones) - set(current().milestones) == {"course.small"}


@pytest.mark.django_db
def test_every_trigger_stands_after_a_migration() -> None:
    if connection.vendor == "postgresql":
        query = "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled = 'A'"
    else:
        query = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    with connection.cursor() as cursor:
        cursor.execute(query)
        standing = {name for (name,) in cursor.fetchall()}
    wanted = set(freezing.TRIGGERS.on(connection))
    assert len(wanted) == (7 if connection.vendor == "postgresql" else 10)
    assert wanted <= standing


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_publishing_waits_for_a_row_that_is_just_being_changed() -> None:
    """Else the change would land in a version whose hash was taken before it."""
    draft = outlines.save(small()).version
    changed, go_on = threading.Event(), threading.Event()

    def change() -> None:
        with transaction.atomic():
            titled(draft, "Changed at the last moment")
            changed.set()
            go_on.wait(10)
        connection.close()

    with ThreadPoolExecutor(1) as pool:
        changing = pool.submit(change)
        assert changed.wait(10)
        threading.Timer(0.3, go_on.set).start()
        frozen = outlines.publish(draft, AT)
        changing.result(10)
    assert document()["items"][0]["title"] == "Changed at the last moment"
    assert frozen.content_hash == files.content_hash(outlines.outline(frozen))


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_a_change_waits_for_a_version_that_is_just_being_published_and_is_refused() -> None:
    draft = outlines.save(small()).version

    def change() -> str:
        try:
            titled(draft, "Too late")
        except DatabaseError as problem:
            return str(problem)
        finally:
            connection.close()
        return "changed"

    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            frozen = outlines.publish(draft, AT)
            changing = pool.submit(change)
            time.sleep(0.3)
            assert not changing.done()
        assert "belongs to a published course version" in changing.result(10)
    assert frozen.content_hash == files.content_hash(outlines.outline(frozen))


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_twenty_imports_at_once_make_one_draft() -> None:
    def save(_: int) -> int:
        try:
            return outlines.save(small()).version.number
        finally:
            connection.close()

    with ThreadPoolExecutor(20) as pool:
        assert set(pool.map(save, range(20))) == {1}
    assert models.Course.objects.count() == models.CourseVersion.objects.count() == 1
