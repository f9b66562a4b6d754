"""Courses at the administrator's pages, and a school that has just begun."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
import time_machine
from django.test import Client

from syllabus.models import Course, CourseVersion
from tests.support import factories
from tests.support.cast import Cast
from tests.syllabus.courses.test_course_versions import SMALL
from tests.training.web.school.test_school import HERE, PASSWORD, THE_DAY, course_file
from tests.training.web.test_pages import text_of


@pytest.fixture(autouse=True)
def the_day() -> Iterator[None]:
    with time_machine.travel(THE_DAY, tick=False):
        yield


@pytest.fixture
def desk(client: Client, taught: Cast) -> Client:
    """Ada at her desk."""
    taught.ada.set_password(PASSWORD)
    taught.ada.save()
    client.force_login(taught.ada)
    return client


def test_a_course_is_drafted_compared_and_published(desk: Client, taught: Cast) -> None:
    code = SMALL.split("course:", 1)[1].split()[0]
    sent = desk.post(f"{HERE}courses/", course_file(SMALL))
    assert sent["Location"] == f"{HERE}courses/{code}@lakeside/1/"
    version = CourseVersion.objects.get(course=Course.objects.get(code=code, school_ref="lakeside"))
    given = {"content_hash": version.content_hash, "password": PASSWORD}
    publish = f"{sent['Location']}publish/"
    wrong = desk.post(publish, {**given, "password": "x"})
    assert wrong.status_code == 422
    assert "Wrong password" in text_of(wrong)
    other = desk.post(publish, {**given, "content_hash": "sha256:other"})
    assert other.status_code == 409
    version.refresh_from_db()
    assert not version.is_published
    assert desk.post(publish, given).status_code == 302
    version.refresh_from_db()
    assert version.is_published
    assert "by Ada Example." in text_of(desk.get(sent["Location"]))
    assert "by Ada Example" in text_of(desk.get(f"{HERE}courses/"))
    title = next(line for line in SMALL.splitlines() if line.startswith("title:"))
    desk.post(f"{HERE}courses/", course_file(SMALL.replace(title, "title: Another title")))
    page = text_of(desk.get(f"{HERE}courses/{code}@lakeside/2/?with=1"))
    assert "From version 1 to version 2" in page
    assert "Another title" in page
    back = desk.get(f"{HERE}courses/{code}@lakeside/2/file/").content.decode()
    assert (
        text_of(desk.post(f"{HERE}courses/", course_file(back), follow=True)).count("Nothing was changed")
        == 1
    )


def test_a_course_with_faults_is_told_each_with_file_and_line(desk: Client, taught: Cast) -> None:
    answer = desk.post(f"{HERE}courses/", course_file("course: small\ntitel: x\n"))
    assert answer.status_code == 422
    assert "small.yaml:2" in text_of(answer)
    assert not Course.objects.exists()


# A school that has just begun


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
def test_a_new_school_is_told_what_to_do_first(client: Client, db: None) -> None:
    school = factories.school(name="New Flying", slug="new")
    client.force_login(factories.administrator(school))
    glance = client.get("/school/new/")
    assert "Start in this order: Add the instructors with certificates and ratings" in text_of(glance)
    for address in ("people/add/?role=instructor", "courses/", "aircraft/", "people/add/?role=student"):
        assert f'href="/school/new/{address}"' in glance.content.decode()
        assert client.get(f"/school/new/{address}").status_code == 200
    assert "No students yet. Open the school pages" in text_of(client.get("/students/"))
    assert "No instructors yet. Add an instructor." in text_of(client.get("/audit/instructors/"))
    assert "No audit yet" in text_of(client.get("/audit/"))


@pytest.mark.any_database  # others here, test_checkpoint_mails and test_school make these queries on SQLite
def test_a_new_school_begins_with_the_course_that_comes_with_the_program(client: Client, db: None) -> None:
    school = factories.school(name="New Flying", slug="new")
    client.force_login(factories.administrator(school))
    page = client.get("/school/new/courses/")
    assert "No courses yet." in text_of(page)
    assert 'name="begin" value="private-airplane"' in page.content.decode()
    made = client.post("/school/new/courses/", {"begin": "private-airplane"}, follow=True)
    assert "Draft of version 1 saved" in text_of(made)
    version = CourseVersion.objects.get(course__school_ref="new")
    assert (version.course.code, version.is_published) == ("private-airplane", False)
    assert 'name="begin"' not in client.get("/school/new/courses/").content.decode()
    assert "Choose a course file" in text_of(client.post("/school/new/courses/", {"begin": "../x"}))
