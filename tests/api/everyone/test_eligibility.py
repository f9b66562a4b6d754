"""The stateless question."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

import pytest
import time_machine
from rest_framework.test import APIClient

from api.v1.base import parsing
from syllabus.engine.record import document
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.rules.question import context_from
from syllabus.law import rulebook
from tests.support.problems import not_covered, places, problem
from tests.support.rows import over_rows
from tests.support.uncovered import WHY, refuse

URL = "/api/v1/eligibility"


def test_the_answer_is_the_engines_report(anyone: APIClient, question: dict[str, Any]) -> None:
    report = evaluate(
        rulebook.current(),
        document.parse(question["record"]),
        "faa.first-solo",
        dt.date(2026, 7, 5),
        context=context_from(question["context"]),
    )
    answer = anyone.post(URL, question)
    assert answer.status_code == 200
    assert answer.json() == json.loads(json.dumps(report.as_json()))
    assert answer.json()["eligible"] is False
    met = {each["id"].rpartition(".")[2]: each["met"] for each in answer.json()["requirements"]}
    assert (met["medical"], met["knowledge-test"], met["maneuvers"]) == (True, True, False)


@pytest.mark.django_db
def test_no_query_is_made_for_a_record_that_is_sent_along(
    anyone: APIClient, question: dict[str, Any], django_assert_num_queries: Any
) -> None:
    with django_assert_num_queries(0):
        assert anyone.post(URL, question).status_code == 200


def test_without_a_day_it_is_today_in_utc_and_the_answer_says_so(
    anyone: APIClient, question: dict[str, Any]
) -> None:
    del question["on"]
    with time_machine.travel(dt.datetime(2026, 7, 5, 23, 59, tzinfo=dt.UTC), tick=False):
        assert anyone.post(URL, question).json()["on"] == "2026-07-05"
    with time_machine.travel(
        dt.datetime(2026, 7, 6, 1, 30, tzinfo=dt.timezone(dt.timedelta(hours=2))), tick=False
    ):
        assert anyone.post(URL, question).json()["on"] == "2026-07-05"


def test_what_was_recorded_later_is_left_out(anyone: APIClient, question: dict[str, Any]) -> None:
    question["known_at"] = "2026-06-30T12:00:00Z"
    test = next(
        each
        for each in anyone.post(URL, question).json()["requirements"]
        if each["id"].endswith(".knowledge-test")
    )
    assert test["met"] is False


def test_every_milestone_can_be_asked_about(anyone: APIClient, question: dict[str, Any]) -> None:
    del question["context"]
    asked = list(rulebook.current().milestones)
    assert len(asked) >= 6
    for milestone in asked:
        answer = anyone.post(URL, {**question, "milestone": milestone})
        assert (answer.status_code, answer.json()["milestone"]) == (200, milestone)


@over_rows(
    ("spoil", "named"),
    [
        pytest.param({"record": None}, ["record"], id="no record"),
        pytest.param({"record": 7}, ["record"], id="a number for the record"),
        pytest.param({"record": []}, ["record"], id="a list for the record"),
        pytest.param({"milestone": ""}, ["milestone"], id="a blank milestone"),
        pytest.param({"milestone": "faa.first_solo"}, ["milestone"], id="a milestone there is none of"),
        pytest.param({"on": "2026-02-30"}, ["on"], id="a day that is in no calendar"),
        pytest.param({"on": "9999-12-31"}, ["on"], id="the last day of all"),
        pytest.param({"on": "0001-01-01"}, ["on"], id="the first day of all"),
        pytest.param({"on": "1996-01-01"}, ["on"], id="a day before the first rule"),
        pytest.param({"on": "２０２６-07-05"}, ["on"], id="digits of another script"),
        pytest.param({"on": 20260705}, ["on"], id="a number for a day"),
        pytest.param({"known_at": "2026-06-30T12:00:00"}, ["known_at"], id="an instant without an offset"),
        pytest.param({"context": []}, ["context"], id="a list for the context"),
        pytest.param({"context": {"model": "C172"}}, ["context.model"], id="a context nobody knows"),
        pytest.param({"context": {"route": ["KZZZZZ"]}}, ["context.route[0]"], id="an airport nobody knows"),
        pytest.param({"miles": 1}, ["miles"], id="a key nobody knows"),
        pytest.param(
            {"record": {"format": "training-record/2"}, "on": "x", "nonsense": 1},
            ["on", "record.format", "nonsense"],
            id="three faults at once",
        ),
    ],
)
def test_what_is_wrong_is_named(
    anyone: APIClient, question: dict[str, Any], spoil: dict[str, Any], named: list[str]
) -> None:
    assert sorted(places(anyone.post(URL, {**question, **spoil}))) == sorted(named)


def test_a_fault_deep_in_the_record_is_named_by_its_path(anyone: APIClient, question: dict[str, Any]) -> None:
    question["record"]["flights"][0]["times"]["dual"] = "2 h"
    question["record"]["flights"].append({"id": "f2", "date": "2026-03-03", "timez": {}})
    told = problem(anyone.post(URL, question), 422)
    assert [each["place"] for each in told["errors"]] == [
        "record.flights[0].times.dual",
        "record.flights[1].timez",
    ]
    assert "did you mean 'times'" in told["errors"][1]["message"]
    assert "2 validation errors" in told["detail"]


def test_an_unknown_milestone_is_answered_with_those_there_are(
    anyone: APIClient, question: dict[str, Any]
) -> None:
    told = problem(anyone.post(URL, {**question, "milestone": "faa.moon"}), 422)
    assert "faa.moon" in told["detail"]
    assert "faa.first-solo" in told["detail"]


def test_the_query_string_is_not_for_the_question(anyone: APIClient, question: dict[str, Any]) -> None:
    assert places(anyone.post(f"{URL}?on=2026-07-05", question)) == ["on"]


@pytest.mark.parametrize(
    "body",
    [
        pytest.param(b"", id="nothing"),
        pytest.param(b"{", id="half an object"),
        pytest.param(b'{"a": 1, "a": 2}', id="a key twice"),
        pytest.param(b'{"record": NaN}', id="NaN"),
        pytest.param(b'{"record": -Infinity}', id="an infinity"),
        pytest.param(b"\xff\xfe{\x00}\x00", id="UTF-16"),
        pytest.param(b'{"a": "\xe9"}', id="Latin-1"),
        pytest.param(b"[" * 100_000, id="a hundred thousand lists in each other"),
        pytest.param(b'{"a":' * 50_000 + b"1" + b"}" * 50_000, id="fifty thousand objects in each other"),
        pytest.param(b'{"a": ' + b"9" * 10_000 + b"}", id="a number of ten thousand digits"),
        pytest.param(b"PK\x03\x04" + b"\x00" * 100, id="an archive"),
    ],
)
def test_a_body_that_is_not_json_cannot_be_read(anyone: APIClient, body: bytes) -> None:
    answer = anyone.generic("POST", URL, body, content_type="application/json")
    if body:
        assert problem(answer, 400)["errors"]
    else:
        assert places(answer) == ["record", "milestone"]


def test_a_byte_order_mark_is_let_pass(anyone: APIClient, question: dict[str, Any]) -> None:
    body = b"\xef\xbb\xbf" + json.dumps(question).encode()
    assert anyone.generic("POST", URL, body, content_type="application/json").status_code == 200


@pytest.mark.parametrize(
    ("content_type", "headers"),
    [
        pytest.param("text/plain", {}, id="text"),
        pytest.param("application/x-www-form-urlencoded", {}, id="a form"),
        pytest.param("multipart/form-data; boundary=x", {}, id="a form with files"),
        pytest.param("nonsense", {}, id="no type at all"),
        pytest.param("application/json", {"Content-Encoding": "gzip"}, id="a packed body"),
    ],
)
def test_only_plain_json_is_read(anyone: APIClient, content_type: str, headers: dict[str, str]) -> None:
    answer = anyone.generic("POST", URL, b'{"record": {}}', content_type=content_type, headers=headers)
    problem(answer, 415)


@pytest.mark.parametrize("told", [True, False], ids=["whose length is told", "whose length is not told"])
def test_a_body_of_more_than_8_mb_is_not_read(anyone: APIClient, told: bool, monkeypatch: Any) -> None:
    assert parsing.MOST_BYTES == 8 * 1024 * 1024
    monkeypatch.setattr(parsing, "MOST_BYTES", 1000)
    if told:
        monkeypatch.setattr("api.v1.base.views.MOST_BYTES", 1000)
    small = b'{"record": 1}'.ljust(1000)
    assert anyone.generic("POST", URL, small, content_type="application/json").status_code == 422
    problem(anyone.generic("POST", URL, small + b" ", content_type="application/json"), 413)


def test_a_body_in_chunks_is_refused_before_it_is_taken_for_none(anyone: APIClient) -> None:
    """The server's interface gives a view no body whose length it does not know."""
    answer = anyone.generic("POST", URL, b"", headers={"Transfer-Encoding": "chunked"})
    assert "Content-Length" in problem(answer, 411)["detail"]


def test_who_accepts_no_json_gets_none(anyone: APIClient, question: dict[str, Any]) -> None:
    problem(anyone.post(URL, question, headers={"Accept": "text/html"}), 406)


@pytest.mark.parametrize("method", ["GET", "PUT", "PATCH", "DELETE", "OPTIONS"])
def test_there_is_only_post(anyone: APIClient, method: str) -> None:
    answer = anyone.generic(method, URL, b"{}", content_type="application/json")
    problem(answer, 405)
    assert "POST" in answer["Allow"]


def test_a_caller_who_is_not_signed_in_gets_300_calls_a_minute(
    anyone: APIClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A busy machine may take longer than a call's share over the first of them, which then counts as several.
    monkeypatch.setattr("api.v1.everyone.eligibility.SECONDS_OF_A_CALL", 60)
    with time_machine.travel(dt.datetime(2026, 7, 5, 12, tzinfo=dt.UTC), tick=False):
        assert {anyone.post(URL, {}).status_code for _ in range(300)} == {422}
        answer = anyone.post(URL, {})
        problem(answer, 429)
        assert int(answer["Retry-After"]) > 0


def test_a_fault_of_ours_is_told_without_its_insides_and_logged(
    anyone: APIClient, question: dict[str, Any], monkeypatch: Any, caplog: Any
) -> None:
    def broken(*args: Any, **kwargs: Any) -> None:
        raise ZeroDivisionError("secret insides")

    monkeypatch.setattr("api.v1.everyone.eligibility.evaluate", broken)
    told = problem(anyone.post(URL, question), 500)
    assert "secret insides" not in json.dumps(told)
    assert "secret insides" in caplog.text


def test_more_faults_than_a_hundred_are_counted(anyone: APIClient, question: dict[str, Any]) -> None:
    question["record"]["flights"] = [{"id": f"f{n}", "date": "x"} for n in range(150)]
    told = problem(anyone.post(URL, question), 422)
    assert (len(told["errors"]), told["errors_not_listed"]) == (100, 50)


# Where the rules end


@pytest.mark.parametrize(
    ("key", "place"),
    [("class", "context.class"), ("path", "context.path"), ("certificate", "record.certificates")],
)
def test_what_the_rules_do_not_cover_is_refused_by_name(
    anyone: APIClient, question: dict[str, Any], monkeypatch: Any, key: str, place: str
) -> None:
    refuse(monkeypatch, "faa.first-solo", key=key)
    told = not_covered(anyone.post(URL, question))
    assert told["milestone"] == "faa.first-solo"
    assert told["errors"] == [{"place": place, "message": WHY}]
    assert "eligible" not in told
