"""A draft is the instructor's unfinished paper: the student sees a lesson when it is signed."""

from __future__ import annotations

import uuid
from typing import Any

import pytest

from tests.api.conftest import Clients
from tests.support import lessons
from tests.support.cast import Cast
from tests.support.problems import problem
from training import models
from training.services.lessons import sign_offs

SAMS = "three words of Sam"


def address(people: Cast, lesson: models.LessonRecord | None = None) -> str:
    whole = f"/api/v1/students/{people.sam.ref}/lesson-records"
    return f"{whole}/{lesson.pk}" if lesson else whole


def listed(client: Any, people: Cast) -> list[str]:
    return [each["id"] for each in client.get(address(people)).json()["lesson_records"]]


@pytest.mark.any_database  # test_ledger makes these queries on SQLite
@pytest.mark.parametrize("who", ["ida", "ada"])
def test_the_instructor_and_the_school_see_drafts(people: Cast, signed_in: Clients, who: str) -> None:
    draft = lessons.draft(people)
    client = signed_in(getattr(people, who))
    assert listed(client, people) == [str(draft.pk)]
    assert client.get(address(people, draft)).json()["state"] == "draft"


@pytest.mark.any_database  # test_ledger makes these queries on SQLite
def test_the_student_sees_what_is_signed_alone(people: Cast, signed_in: Clients) -> None:
    sam, draft, signed = signed_in(people.sams_account), lessons.draft(people), lessons.signed(people)
    assert listed(sam, people) == [str(signed.pk)]
    problem(sam.get(address(people, draft)), 404)
    lessons.sign(draft, people.ida)
    assert set(listed(sam, people)) == {str(signed.pk), str(draft.pk)}
    assert sam.get(address(people, draft)).json()["state"] == "signed"


def test_the_draft_of_a_correction_is_not_there_either(people: Cast, signed_in: Clients) -> None:
    sam, first = signed_in(people.sams_account), lessons.signed(people)
    again = sign_offs.correct(
        first,
        id=uuid.uuid4(),
        reason="1.2 h",
        content=lessons.flown(times={"total": "1.2 h"}),
        by=people.ida,
        at=lessons.AT,
        via="api",
    )
    assert listed(sam, people) == [str(first.pk)]
    assert sam.get(address(people, first)).json()["corrected_by"] is None
    problem(sam.get(address(people, again)), 404)


def test_a_student_who_administers_the_school_still_sees_no_draft_of_their_own(
    people: Cast, signed_in: Clients
) -> None:
    lessons.draft(people)
    models.Role.objects.create(school=people.school, user=people.sams_account, role="administrator")
    assert listed(signed_in(people.sams_account), people) == []


def test_a_draft_cannot_be_acknowledged_for_it_is_not_there(people: Cast, signed_in: Clients) -> None:
    people.sams_account.set_password(SAMS)
    people.sams_account.save()
    sam, draft = signed_in(people.sams_account), lessons.draft(people)
    told = problem(sam.post(f"{address(people, draft)}/acknowledge", {"confirm_password": SAMS}), 404)
    assert "lesson record of that id" in told["detail"]
