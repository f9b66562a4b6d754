"""Lesson records over HTTP: a draft with its ETag, the confirmed sign-off, the answers as described."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

import pytest

from tests.api.conftest import Clients
from tests.api.test_description import fits
from tests.support import courses, factories, lessons
from tests.support.cast import Cast
from tests.support.lessons import CONTENT, content, flown
from tests.support.problems import places, problem
from tests.support.rows import over_rows
from training import models

PASSWORD = "three words of Ida"
SAMS = "three words of Sam"
KEY = "0b5a1f8e-3c7d-4f7c-9f51-3f1f5d0f9a03"
NEXT_KEY = "0b5a1f8e-3c7d-4f7c-9f51-3f1f5d0f9a04"


@pytest.fixture
def people(people: Cast) -> Cast:
    for user, password in ((people.ida, PASSWORD), (people.sams_account, SAMS)):
        user.set_password(password)
        user.save()
    return people


@pytest.fixture
def ida(people: Cast, signed_in: Clients) -> Any:
    return signed_in(people.ida)


@pytest.fixture
def sam(people: Cast, signed_in: Clients) -> Any:
    return signed_in(people.sams_account)


@pytest.fixture
def url(people: Cast) -> str:
    return f"/api/v1/students/{people.sam.ref}/lesson-records"


def drafted(client: Any, url: str, **changed: Any) -> Any:
    return client.post(url, {"id": KEY, "lesson": "S1-L3", "content": CONTENT, **changed})


def signing(client: Any, url: str, digest: str, key: str = KEY, **changed: Any) -> Any:
    body = {"content_hash": digest, "confirm_password": PASSWORD, **changed}
    return client.post(f"{url}/{key}/sign", body)


@pytest.mark.any_database  # others here, test_sign_offs and test_lesson_hints make these queries on SQLite
def test_from_the_draft_to_the_acknowledgement(ida: Any, sam: Any, url: str) -> None:
    made = drafted(ida, url)
    assert (made.status_code, made["ETag"]) == (201, '"1"')
    fits(made.json(), "LessonRecord")
    assert made.json()["computed"]["night"] == "0.0 h"

    changed = ida.put(f"{url}/{KEY}", {"content": content(comments="More.")}, headers={"If-Match": '"1"'})
    assert (changed.status_code, changed["ETag"]) == (200, '"2"')
    digest = changed.json()["content_hash"]
    assert digest != made.json()["content_hash"]

    signed = signing(ida, url, digest)
    assert signed.status_code == 200, signed.content
    fits(signed.json(), "LessonSignOff")
    assert signed.json()["ledger"]["index"] == 0
    assert signing(ida, url, digest).json() == signed.json()

    known = sam.post(f"{url}/{KEY}/acknowledge", {"confirm_password": SAMS})
    assert known.status_code == 200
    fits(known.json(), "LessonAcknowledgement")
    assert sam.post(f"{url}/{KEY}/acknowledge", {"confirm_password": SAMS}).json() == known.json()

    read = sam.get(f"{url}/{KEY}")
    fits(read.json(), "LessonRecord")
    assert read.json()["sign_off"]["certificate"] == "0000001CFI"
    assert read.json()["acknowledgement"]["ledger"]["index"] == 1
    listed = sam.get(url)
    fits(listed.json(), "LessonRecordPage")
    assert [(each["id"], each["state"]) for each in listed.json()["lesson_records"]] == [(KEY, "signed")]
    record = sam.get(url.replace("lesson-records", "record")).json()
    assert [each["id"] for each in record["flights"]] == [f"{KEY}/flight"]


@pytest.mark.any_database  # others here and test_planted_ids make these queries on SQLite
def test_a_correction_stands_beside_what_it_corrects(ida: Any, url: str) -> None:
    signing(ida, url, drafted(ida, url).json()["content_hash"])
    body = {"id": NEXT_KEY, "reason": "1.2 h, not 1.4 h", "content": flown(times={"total": "1.2 h"})}
    made = ida.post(f"{url}/{KEY}/correct", body)
    assert made.status_code == 201
    assert ida.post(f"{url}/{KEY}/correct", body).json() == made.json()
    fits(made.json(), "LessonRecord")
    assert (made.json()["corrects"], made.json()["lesson"]) == (KEY, "S1-L3")
    assert signing(ida, url, made.json()["content_hash"], NEXT_KEY).status_code == 200
    old, new = (ida.get(f"{url}/{key}").json() for key in (KEY, NEXT_KEY))
    assert (old["corrected_by"], new["corrects"], new["reason"]) == (NEXT_KEY, KEY, "1.2 h, not 1.4 h")
    assert old["sign_off"]["ledger"]["index"] == 0
    again = {**body, "id": str(uuid.uuid4())}
    assert NEXT_KEY in problem(ida.post(f"{url}/{KEY}/correct", again), 409)["detail"]


def test_the_same_draft_twice_is_one_and_another_is_refused(ida: Any, url: str) -> None:
    first = drafted(ida, url)
    assert drafted(ida, url).json() == first.json()
    problem(drafted(ida, url, lesson="S1-L9"), 409)
    assert models.LessonRecord.objects.count() == 1


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
def test_what_was_measured_is_answered_beside_its_standard(
    people: Cast, ida: Any, sam: Any, url: str
) -> None:
    courses.enrolled(people, courses.published())
    measured = {"altitude": "lost 180 ft", "bank": {"value": "48°", "target": "45°"}, "own": "2:09"}
    item = {"item": "steep-turns", "grade": "perform", "measured": measured}
    made = drafted(ida, url, lesson="", content=content(items=[item]))
    assert made.status_code == 201, made.content
    fits(made.json(), "LessonRecord")
    fits(made.json()["content"], "LessonContent")
    shown = made.json()["hints"]
    assert [(each["name"], each["inside"], each["by"]) for each in shown] == [
        ("bank", True, "2°"),
        ("altitude", False, "80 ft"),
        ("own", None, None),
    ]
    assert "grade-outside" in [each["kind"] for each in made.json()["warnings"]]
    done = signing(ida, url, made.json()["content_hash"])
    assert done.status_code == 200, done.content
    fits(done.json(), "LessonSignOff")
    assert done.json()["hints"] == shown
    read = sam.get(f"{url}/{KEY}").json()
    fits(read, "LessonRecord")
    assert read["hints"] == read["sign_off"]["hints"] == shown


def test_nonsense_for_a_measured_value_is_refused_with_its_place(ida: Any, url: str) -> None:
    item = {
        "item": "presolo.d-01",
        "grade": "perform",
        "measured": {"altitude": "lots", "bank": {"target": "4"}},
    }
    answer = problem(drafted(ida, url, content=content(items=[item])), 422)
    assert [each["place"] for each in answer["errors"]] == [
        "content.items[0].measured.altitude",
        "content.items[0].measured.bank.value",
    ]
    assert "write a number with its unit ('180 ft'" in answer["errors"][0]["message"]


@pytest.mark.any_database  # others here, test_planted_ids and test_sign_offs make these queries on SQLite
@pytest.mark.parametrize(
    ("etag", "status"),
    [
        pytest.param(None, 428, id="none"),
        pytest.param('"2"', 412, id="another"),
        pytest.param('W/"1"', 412, id="a weak one"),
        pytest.param("nonsense", 412, id="nonsense"),
        pytest.param("*", 200, id="any"),
        pytest.param('"7", "1"', 200, id="one of two"),
    ],
)
def test_a_draft_is_changed_from_where_it_stands(ida: Any, url: str, etag: str | None, status: int) -> None:
    drafted(ida, url)
    headers = {} if etag is None else {"If-Match": etag}
    answer = ida.put(f"{url}/{KEY}", {"content": content(comments="More.")}, headers=headers)
    assert answer.status_code == status
    assert models.LessonRecord.objects.get().content["comments"] == (
        "More." if status == 200 else "Well prepared."
    )


@pytest.mark.any_database  # others here and test_signing_authority make these queries on SQLite
def test_what_is_signed_is_not_changed(ida: Any, url: str) -> None:
    signing(ida, url, drafted(ida, url).json()["content_hash"])
    answer = ida.put(f"{url}/{KEY}", {"content": CONTENT}, headers={"If-Match": "*"})
    assert "correction" in problem(answer, 409)["detail"]


@pytest.mark.any_database  # others here, test_translation and test_instructor make these queries on SQLite
@over_rows(
    ("body", "place"),
    [
        pytest.param({"content": CONTENT}, "id", id="no id"),
        pytest.param({"id": "7", "content": CONTENT}, "id", id="no UUID"),
        pytest.param({"id": KEY}, "content", id="no content"),
        pytest.param({"id": KEY, "content": None}, "content", id="null for a content"),
        pytest.param({"id": KEY, "content": CONTENT, "nonsense": 1}, "nonsense", id="an unknown key"),
        pytest.param({"id": KEY, "content": CONTENT, "lesson": "x" * 201}, "lesson", id="a long code"),
        pytest.param(
            {"id": KEY, "content": flown(times={"total": "1 h", "dual": "2 h"})},
            "content.flight.times.dual",
            id="a part that is more than the whole",
        ),
        pytest.param([], "", id="a list"),
    ],
    undo=True,
)
def test_a_body_is_read_strictly(ida: Any, url: str, body: Any, place: str) -> None:
    assert place in places(ida.post(url, body))
    assert not models.LessonRecord.objects.exists()


@pytest.mark.any_database  # others here and test_planted_ids make these queries on SQLite
@pytest.mark.parametrize(
    ("changed", "place"),
    [
        pytest.param({"content_hash": "sha256:0"}, "content_hash", id="no hash"),
        pytest.param({"performed_at": "2026-03-02"}, "performed_at", id="a day for an instant"),
        pytest.param({"performed_at": "2199-01-01T00:00:00Z"}, "performed_at", id="an instant to come"),
        pytest.param({"confirm_password": None}, "confirm_password", id="null for a password"),
    ],
)
def test_a_sign_off_is_read_strictly(ida: Any, url: str, changed: Any, place: str) -> None:
    digest = drafted(ida, url).json()["content_hash"]
    assert place in places(signing(ida, url, digest, **changed))
    assert not models.SignOff.objects.exists()


@pytest.mark.any_database  # others here and test_sign_offs make these queries on SQLite
def test_nothing_is_signed_without_the_signers_own_password(ida: Any, sam: Any, url: str) -> None:
    digest = drafted(ida, url).json()["content_hash"]
    assert "password" in problem(signing(ida, url, digest, confirm_password=SAMS), 403)["detail"]
    assert not models.SignOff.objects.exists()
    signing(ida, url, digest)
    problem(sam.post(f"{url}/{KEY}/acknowledge", {"confirm_password": PASSWORD}), 403)
    assert not models.Acknowledgement.objects.exists()


@pytest.mark.any_database  # others here make these queries on SQLite
def test_guessing_at_the_password_takes_long(ida: Any, url: str) -> None:
    digest = drafted(ida, url).json()["content_hash"]
    got = {signing(ida, url, digest, confirm_password="guess").status_code for _ in range(61)}
    assert got == {403, 429}


def test_an_instructor_who_is_not_authorised_is_told_why(people: Cast, ida: Any, url: str) -> None:
    digest = drafted(ida, url).json()["content_hash"]
    models.Role.objects.filter(user=people.ida).update(recent_experience_until=dt.date(2026, 3, 1))
    told = problem(signing(ida, url, digest), 403)
    assert "14 CFR 61.197" in told["errors"][0]["message"]


@pytest.mark.any_database  # others here and test_planted_ids make these queries on SQLite
def test_another_instructor_finds_it_signed(people: Cast, ida: Any, signed_in: Clients, url: str) -> None:
    digest = drafted(ida, url).json()["content_hash"]
    signing(ida, url, digest)
    second = factories.instructor(people.school, certificate="0000002CFI", password=PASSWORD)
    factories.assign(second, people.sam)
    problem(signing(signed_in(second), url, digest), 409)


@pytest.mark.any_database  # others here and test_sign_offs make these queries on SQLite
def test_a_draft_that_changed_is_not_signed(ida: Any, url: str) -> None:
    digest = drafted(ida, url).json()["content_hash"]
    ida.put(f"{url}/{KEY}", {"content": content(comments="More.")}, headers={"If-Match": '"1"'})
    problem(signing(ida, url, digest), 409)


@pytest.mark.any_database  # others here make these queries on SQLite
def test_another_students_lesson_is_not_there(people: Cast, ida: Any, url: str) -> None:
    digest = drafted(ida, url).json()["content_hash"]
    other = factories.student(people.school, taught_by=people.ida)
    there = f"/api/v1/students/{other.ref}/lesson-records"
    problem(ida.get(f"{there}/{KEY}"), 404)
    problem(signing(ida, there, digest), 404)
    problem(ida.put(f"{there}/{KEY}", {"content": CONTENT}, headers={"If-Match": "*"}), 404)
    assert ida.get(there).json()["lesson_records"] == []


def test_pages_follow_one_another(people: Cast, ida: Any, url: str) -> None:
    for number in range(51):
        lessons.draft(people, at=lessons.AT + dt.timedelta(minutes=number))
    first = ida.get(url).json()
    second = ida.get(first["next"]).json()
    seen = [each["id"] for each in (*first["lesson_records"], *second["lesson_records"])]
    newest = models.LessonRecord.objects.order_by("-created_at").values_list("pk", flat=True)
    assert seen == [str(pk) for pk in newest]
    assert (second["next"], first["previous"]) == (None, None)


def test_a_cursor_of_another_list_is_refused(ida: Any, url: str) -> None:
    assert places(ida.get(f"{url}?cursor=cD1ub25zZW5zZQ==")) == ["cursor"]


def test_every_look_and_change_is_logged(people: Cast, ida: Any, sam: Any, url: str) -> None:
    digest = drafted(ida, url).json()["content_hash"]
    signing(ida, url, digest)
    sam.get(f"{url}/{KEY}")
    sam.get(url)
    sam.post(f"{url}/{KEY}/acknowledge", {"confirm_password": SAMS})
    logged = list(models.AccessLog.objects.order_by("pk").values_list("user", "action", "what"))
    assert logged == [
        (people.ida.pk, "write", f"lesson-record {KEY}"),
        (people.ida.pk, "write", f"lesson-record {KEY} sign"),
        (people.sams_account.pk, "read", f"lesson-record {KEY}"),
        (people.sams_account.pk, "read", "lesson-records"),
        (people.sams_account.pk, "write", f"lesson-record {KEY} acknowledge"),
    ]
