"""An administrator records a guardian's consent and lets the guardian read; nobody else does."""

from __future__ import annotations

import pytest
import time_machine
from django.test import Client

from tests.support import factories, lessons
from tests.support.cast import Cast
from tests.support.mailing import mails_sent
from tests.training.web.test_pages import text_of
from training import models
from training.services import access
from training.services.access import READ

GUS = {
    "guardian_name": "Gus Example",
    "guardian_email": "gus@lakeside.example",
    "consent_on": "2026-03-01",
    "consent_until": "",
}


@pytest.fixture(autouse=True)
def the_day():
    with time_machine.travel(lessons.AT, tick=False):
        yield


@pytest.fixture
def minor(people: Cast) -> models.Student:
    models.School.objects.filter(pk=people.school.pk).update(of_age_at=99)
    return people.sam


@pytest.fixture
def desk(client: Client, people: Cast, minor: models.Student) -> Client:
    client.force_login(people.ada)
    return client


def address(student: models.Student, more: str = "") -> str:
    return f"/school/lakeside/students/{student.ref}/{more}"


def account_of(guardian: models.Guardian, more: str = "") -> str:
    return address(guardian.student, f"guardians/{guardian.pk}/account/{more}")


def test_from_the_consent_to_the_account_to_its_end(
    desk: Client, people: Cast, minor: models.Student
) -> None:
    said = text_of(desk.post(address(minor, "guardians/"), GUS, follow=True))
    assert "Consent of Gus Example saved." in said
    guardian = models.Guardian.objects.get()
    assert (guardian.user, guardian.recorded_by) == (None, people.ada)

    said = text_of(desk.post(account_of(guardian), follow=True))
    assert "Invitation sent to gus@lakeside.example." in said
    assert [each.to for each in mails_sent()] == [["gus@lakeside.example"]]
    assert "is already invited as a guardian" in text_of(desk.post(account_of(guardian), follow=True))
    guardian.refresh_from_db()
    assert guardian.user is None
    factories.accepted("gus@lakeside.example")
    guardian.refresh_from_db()
    assert guardian.user
    today = lessons.AT.date()
    assert access.may(guardian.user, READ, minor, on=today)
    assert not guardian.user.roles.exists()

    assert "Gus Example no longer has access to the record." in text_of(
        desk.post(account_of(guardian, "end/"), follow=True)
    )
    assert not access.may(guardian.user, READ, minor, on=today)
    noted = models.PeopleChange.objects.order_by("pk").values_list("what", "by", "user", "student")
    gus = guardian.user.pk
    assert list(noted) == [
        ("guardian invited", people.ada.pk, None, minor.pk),
        ("guardian accepted", gus, gus, minor.pk),
        ("guardian's account taken", people.ada.pk, gus, minor.pk),
    ]


def test_an_account_of_the_school_is_used_and_gets_no_mail(
    desk: Client, people: Cast, minor: models.Student
) -> None:
    guardian = factories.guardian(minor)
    models.Guardian.objects.filter(pk=guardian.pk).update(email=people.ida.email)
    said = "now has access to the record while the consent is valid, and signs in as ida@lakeside.example."
    assert said in text_of(desk.post(account_of(guardian), follow=True))
    desk.post(account_of(guardian))
    guardian.refresh_from_db()
    assert guardian.user == people.ida
    assert mails_sent() == []
    assert models.PeopleChange.objects.count() == 1


def test_the_last_day_sent_again_takes_the_consent_back_and_the_account_reads_no_more(
    desk: Client, people: Cast, minor: models.Student
) -> None:
    desk.post(address(minor, "guardians/"), GUS)
    guardian = models.Guardian.objects.get()
    desk.post(account_of(guardian))
    factories.accepted("gus@lakeside.example")
    desk.post(address(minor, "guardians/"), {**GUS, "consent_until": "2026-03-02"})
    guardian = models.Guardian.objects.select_related("user").get()
    assert guardian.user
    assert not access.may(guardian.user, READ, minor, on=lessons.AT.date())


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        pytest.param({"guardian_name": " "}, "is blank", id="no name"),
        pytest.param({"guardian_email": "gus"}, "not an e-mail address", id="no address"),
        pytest.param({"consent_on": "2026-03-04"}, "in the future", id="a consent from tomorrow"),
        pytest.param({"consent_until": "2026-02-28"}, "before the consent", id="ended before it began"),
        pytest.param({"consent_on": "soon"}, "soon", id="no day"),
    ],
)
def test_what_cannot_be_is_said_beside_its_field(
    desk: Client, minor: models.Student, wrong: dict[str, str], says: str
) -> None:
    answer = desk.post(address(minor, "guardians/"), {**GUS, **wrong})
    assert answer.status_code == 422
    assert says in text_of(answer) or says in answer.content.decode()
    assert not models.Guardian.objects.exists()


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(
    ("whose", "says"),
    [
        pytest.param("own", "is the student's own account", id="the student's own account"),
        pytest.param("closed", "is closed", id="a closed account"),
    ],
)
def test_an_account_that_cannot_be_a_guardians_is_refused(
    desk: Client, people: Cast, minor: models.Student, whose: str, says: str
) -> None:
    guardian = factories.guardian(minor)
    closed = factories.instructor(people.school, is_active=False)
    email = people.sams_account.email if whose == "own" else closed.email
    models.Guardian.objects.filter(pk=guardian.pk).update(email=email)
    assert says in text_of(desk.post(account_of(guardian), follow=True))
    guardian.refresh_from_db()
    assert guardian.user is None


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize("who", ["ida", "sams_account", "olaf"])
def test_nobody_but_an_administrator_of_the_school_gives_an_account(
    client: Client, people: Cast, minor: models.Student, who: str
) -> None:
    guardian = factories.guardian(minor)
    client.force_login(getattr(people, who))
    for path in (address(minor, "guardians/"), account_of(guardian), account_of(guardian, "end/")):
        assert client.post(path, GUS).status_code == 404
    guardian.refresh_from_db()
    assert guardian.user is None


def test_a_guardian_of_another_student_is_not_there(
    desk: Client, people: Cast, minor: models.Student
) -> None:
    fellow = factories.guardian(factories.student(people.school))
    assert desk.post(address(minor, f"guardians/{fellow.pk}/account/")).status_code == 404
