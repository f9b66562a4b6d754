"""A student asks for a lesson, a correction or a release; an instructor answers, and nothing else changes."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

import pytest
import time_machine
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from tests.support import factories, lessons, own, releasing
from tests.support.cast import Cast
from tests.support.mailing import mails_sent
from tests.support.releasing import engine as engine
from tests.training.web.test_pages import text_of
from training import models
from training.services.errors import Conflict, NotAllowed, NotFound
from training.services.people import requests
from training.services.people.requests import RequestError

NOW = lessons.AT
TODAY, TOMORROW = dt.date(2026, 3, 3), dt.date(2026, 3, 4)


def ask(people: Cast, **changed: Any) -> requests.Asked:
    said = {"id": uuid.uuid4(), "kind": "lesson", "on": TOMORROW, "text": "Crosswind landings?"}
    given = {"by": people.sams_account, "at": NOW, "via": "web", **said, **changed}
    return requests.ask(given.pop("student", people.sam), **given)


def answered(people: Cast, row: models.StudentRequest, state: str, text: str = "", **changed: Any) -> Any:
    given = {"by": people.ida, "at": NOW, "via": "web", **changed}
    return requests.answer(people.sam, row.pk, state=state, text=text, **given)


def test_a_request_and_its_answer_are_mailed_and_logged(people: Cast) -> None:
    """The instructor learns who asks for what, the student who answered; the request's text is in no mail."""
    with time_machine.travel(NOW, tick=False):
        row = ask(people).row
        [to_ida] = mails_sent()
        assert (to_ida.to, to_ida.subject) == (
            [people.ida.email],
            "Sam Example asks for a lesson on 4 Mar 2026",
        )
        assert "Crosswind" not in str(to_ida.body)
        answered(people, row, "declined", "Thunderstorms.")
        to_sam = mails_sent()[-1]
    assert (to_sam.to, to_sam.subject) == ([people.sams_account.email], "Your request was answered")
    assert "Ida Example declined your request for a lesson on 4 Mar 2026. Thunderstorms." in str(to_sam.body)
    logged = models.AccessLog.objects.filter(student=people.sam, what__startswith="request ")
    assert [(each.user, each.action) for each in logged.order_by("pk")] == [
        (people.sams_account, "write"),
        (people.ida, "write"),
    ]


@pytest.mark.parametrize(
    ("changed", "place", "said"),
    [
        pytest.param({"kind": "airplane"}, "kind", "is none of", id="no such kind"),
        pytest.param({"on": None}, "on", "is missing", id="no day"),
        pytest.param({"on": dt.date(2026, 3, 2)}, "on", "is not within a year", id="yesterday"),
        pytest.param({"on": dt.date(2027, 3, 5)}, "on", "is not within a year", id="a year and two days on"),
        pytest.param({"lesson": uuid.uuid4()}, "lesson", "belongs to a correction", id="a lesson too"),
        pytest.param({"kind": "correction", "on": None}, "lesson", "is not a signed", id="no lesson"),
        pytest.param({"kind": "correction"}, "on", "belongs to a lesson", id="a correction on a day"),
        pytest.param({"text": "x" * 1001}, "text", "at most 1000", id="too long"),
    ],
)
def test_what_is_not_possible_is_refused_at_its_place(
    people: Cast, changed: dict[str, Any], place: str, said: str
) -> None:
    with pytest.raises(RequestError) as refused:
        ask(people, **changed)
    assert any(each.place == place and said in each.message for each in refused.value.errors)
    assert not models.StudentRequest.objects.exists()


@pytest.mark.parametrize("on", [TODAY, dt.date(2027, 3, 4)], ids=["today", "in a year"])
def test_the_first_and_the_last_day_are_possible(people: Cast, on: dt.date) -> None:
    assert ask(people, on=on).created


def test_only_the_student_asks_and_only_who_may_write_answers(people: Cast) -> None:
    for who in (people.ida, people.ada, people.olaf, people.ottos_account):
        with pytest.raises(NotAllowed):
            ask(people, by=who)
    row = ask(people).row
    for who in (people.sams_account, people.olaf, people.ottos_account):
        with pytest.raises(NotAllowed):
            answered(people, row, "accepted", by=who)
    with pytest.raises(NotFound):
        requests.answer(people.otto, row.pk, state="accepted", text="", by=people.olaf, at=NOW, via="web")
    row.refresh_from_db()
    assert row.state == "open"


def test_the_same_again_is_one_request_and_another_under_its_id_is_a_conflict(people: Cast) -> None:
    first = ask(people)
    again = ask(people, id=first.row.pk)
    assert (first.created, again.created, again.row.pk) == (True, False, first.row.pk)
    for changed in ({"on": TODAY}, {"text": "Something else"}, {"kind": "release"}):
        with pytest.raises(Conflict):
            ask(people, id=first.row.pk, **changed)
    assert models.StudentRequest.objects.count() == 1


def test_an_answer_is_given_once(people: Cast) -> None:
    row = ask(people).row
    with pytest.raises(RequestError):
        answered(people, row, "declined", " ")
    with pytest.raises(RequestError):
        answered(people, row, "withdrawn")
    answered(people, row, "accepted", "At nine.")
    answered(people, row, "accepted", "At nine.", at=NOW + dt.timedelta(hours=1))
    assert models.Delivery.objects.filter(user=people.sams_account).count() == 1
    for state, text in (("declined", "No."), ("accepted", "At ten.")):
        with pytest.raises(Conflict):
            answered(people, row, state, text)
    with pytest.raises(Conflict):
        requests.withdraw(people.sam, row.pk, by=people.sams_account, at=NOW, via="web")


def test_a_request_that_was_withdrawn_has_no_answer(people: Cast) -> None:
    row = ask(people).row
    for _ in range(2):
        done = requests.withdraw(people.sam, row.pk, by=people.sams_account, at=NOW, via="web")
        assert done.state == "withdrawn"
    with pytest.raises(Conflict):
        answered(people, row, "accepted")


def test_at_most_ten_are_open(people: Cast) -> None:
    rows = [ask(people).row for _ in range(requests.MOST_OPEN)]
    with pytest.raises(Conflict):
        ask(people)
    requests.withdraw(people.sam, rows[0].pk, by=people.sams_account, at=NOW, via="web")
    assert ask(people).created


@pytest.mark.parametrize(
    "changed",
    [
        pytest.param({"on": None}, id="a lesson on no day"),
        pytest.param({"state": "accepted"}, id="an answer by nobody"),
        pytest.param({"answered_at": NOW}, id="open and answered"),
    ],
)
def test_the_database_refuses_what_is_no_request(people: Cast, changed: dict[str, Any]) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        own.request(people, **changed)


# On the pages


@pytest.fixture
def here(client: Client) -> Any:
    with time_machine.travel(NOW, tick=False):
        yield client


def test_a_student_asks_on_a_page_and_the_instructor_answers_from_today(here: Client, people: Cast) -> None:
    here.force_login(people.sams_account)
    page = reverse("requests", args=[people.sam.ref])
    assert "No requests yet." in text_of(here.get(page))
    sent = {"id": str(uuid.uuid4()), "kind": "lesson", "on": "2026-03-03", "text": "After school <b>"}
    assert here.post(page, {**sent, "on": ""}).status_code == 422
    assert here.post(page, sent)["Location"] == page
    assert "A lesson on 3 Mar 2026 ? Waiting for an answer" in text_of(here.get(page))

    here.force_login(people.ida)
    today = here.get("/today/")
    assert "1 request to answer" in text_of(today)
    assert "Asks for a lesson on 3 Mar 2026" in text_of(today)
    assert "After school &lt;b&gt;" in today.content.decode()
    answer = reverse("request-answer", args=[people.sam.ref, sent["id"]])
    said = text_of(here.post(answer, {"state": "declined", "answer": ""}, follow=True))
    assert "Not answered" in said
    said = text_of(here.post(answer, {"state": "accepted", "answer": "At four."}, follow=True))
    assert "Request accepted." in said
    assert "1 student flies today" in said
    assert "request to answer" not in said
    assert "Flies today" in said

    here.force_login(people.sams_account)
    assert "Ida Example: At four." in text_of(here.get(page))


def test_a_correction_is_asked_for_at_the_lesson_and_leads_there(here: Client, people: Cast) -> None:
    lesson = lessons.signed(people)
    here.force_login(people.sams_account)
    page = f"{reverse('requests', args=[people.sam.ref])}?lesson={lesson.pk}"
    assert page in here.get(reverse("lesson", args=[people.sam.ref, lesson.pk])).content.decode()
    assert "What is wrong" in text_of(here.get(page))
    sent = {"id": str(uuid.uuid4()), "lesson": str(lesson.pk), "text": "I flew to KMTW."}
    here.post(reverse("requests", args=[people.sam.ref]), sent)
    here.force_login(people.ida)
    assert "Asks for a correction of the lesson of 2 Mar 2026" in text_of(here.get("/today/"))
    answer = reverse("request-answer", args=[people.sam.ref, sent["id"]])
    there = reverse("lesson-sealed", args=[people.sam.ref, lesson.pk])
    assert here.post(answer, {"state": "accepted"})["Location"] == there


def test_others_read_the_page_without_its_form_or_not_at_all(here: Client, people: Cast) -> None:
    row = own.request(people)
    page = reverse("requests", args=[people.sam.ref])
    withdraw = reverse("request-withdraw", args=[people.sam.ref, row.pk])
    for who in (people.ida, people.ada):
        here.force_login(who)
        shown = here.get(page).content.decode()
        assert "Crosswind landings?" in shown
        assert "Send request" not in shown
        assert withdraw not in shown
        here.post(withdraw)
        here.post(page, {"id": str(uuid.uuid4()), "kind": "lesson", "on": "2026-03-05"})
    for who in (people.olaf, people.ottos_account):
        here.force_login(who)
        assert here.get(page).status_code == 404
        assert here.post(withdraw).status_code == 404
    [kept] = models.StudentRequest.objects.all()
    assert kept.state == "open"
    here.force_login(people.sams_account)
    assert "Request withdrawn." in text_of(here.post(withdraw, follow=True))


def test_a_request_of_yesterday_does_not_make_a_student_fly_today(here: Client, people: Cast) -> None:
    for on in (TODAY - dt.timedelta(days=1), TOMORROW):
        done = {"state": "accepted", "by": people.ida, "answered_at": NOW}
        own.request(people, on=on, **done)
    other = factories.student(people.school, name="Tia Elsewhere")
    own.request(people, student=other)
    here.force_login(people.ida)
    said = text_of(here.get("/today/"))
    assert "Flies today" not in said
    assert "Asks for" not in said


def test_a_solo_release_is_decided_one_link_from_today(
    here: Client, people: Cast, engine: releasing.Engine
) -> None:
    """Before the planned return it waits there, whatever the hour; after it, or decided, it does not."""
    release = releasing.asked(people)
    here.force_login(people.ida)
    today = here.get("/today/")
    assert "Asks for a solo release: 3 Mar 2026, 12:30 CST" in text_of(today)
    assert f'href="{reverse("solo-release", args=[people.sam.ref, release.pk])}"' in today.content.decode()
    assert "Flies today" not in text_of(today)
    with time_machine.travel(NOW + dt.timedelta(hours=2), tick=False):  # the return, 14:00 at the school
        here.force_login(people.ida)
        later = text_of(here.get("/today/"))
    assert "Sam Example" in later
    assert "Asks for a solo release" not in later
    here.force_login(people.ida)
    releasing.decided(people, release)
    said = text_of(here.get("/today/"))
    assert "Asks for a solo release" not in said
    assert "Flies today" in said
