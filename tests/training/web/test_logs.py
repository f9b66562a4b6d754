"""What a line of the log holds, and what it never holds."""

from __future__ import annotations

import io
import json
import logging
import re
from typing import Any

import pytest
from django.db import IntegrityError
from django.http import HttpRequest, HttpResponse
from django.test import Client, RequestFactory

from tests.support.cast import Cast
from training.config import logs
from training.models import User
from training.web.shared import requests


@pytest.fixture
def written():
    """A root logger's handler as the settings make it, writing JSON here: gives the lines so far."""
    out = io.StringIO()
    handler = logging.StreamHandler(out)
    handler.addFilter(logs.Where())
    handler.setFormatter(logs.JsonLines())
    root = logging.getLogger()
    root.addHandler(handler)
    yield lambda: [json.loads(line) for line in out.getvalue().splitlines()]
    root.removeHandler(handler)


def of_requests(lines: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [line for line in lines if line["logger"] == "training.requests"]


@pytest.mark.any_database  # test_own_minimums makes these queries on SQLite
@pytest.mark.django_db
def test_a_request_leaves_its_route_and_the_asker_by_number(client: Client, people: Cast, written) -> None:
    client.force_login(people.ida)
    answer = client.get(f"/students/{people.sam.ref}/?on=2026-11-20&aircraft_model=secret")
    (line,) = of_requests(written())
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}\+00:00", line.pop("time"))
    assert line.pop("ms") > 0
    assert line.pop("message").startswith("GET student 200 in ")
    assert line == {
        "level": "INFO",
        "logger": "training.requests",
        "method": "GET",
        "route": "student",
        "status": 200,
        "request": answer["X-Request-ID"],
        "user": people.ida.pk,
    }
    whole = json.dumps(written())
    for never in (people.ida.email, people.ida.name, people.sam.name, str(people.sam.ref), "secret"):
        assert never not in whole


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("proxy", "given", "kept"),
    [
        pytest.param(True, "0f3a-77c1-proxy", True, id="our proxy's id is kept"),
        pytest.param(False, "0f3a-77c1-proxy", False, id="anybody else's is not"),
        pytest.param(True, 'x" "level": "INFO', False, id="what is no id is not"),
        pytest.param(True, "a" * 65, False, id="a long one is not"),
    ],
)
def test_the_id_of_a_request(client: Client, settings, proxy: bool, given: str, kept: bool) -> None:
    settings.BEHIND_OUR_PROXY = proxy
    answer = client.get("/healthz", headers={"X-Request-ID": given})
    assert (answer["X-Request-ID"] == given) == kept
    assert requests._ID.fullmatch(answer["X-Request-ID"])


@pytest.mark.django_db
def test_a_fault_is_told_by_its_kind_and_place_for_its_words_quote_the_row(written) -> None:
    def fails(request: HttpRequest) -> HttpResponse:
        try:
            raise ValueError("Sam Example was born on 2006-05-17")
        except ValueError as first:
            raise IntegrityError("Failing row contains (Sam Example, sam@flying.example)") from first

    request = RequestFactory().get("/")
    try:
        requests.Noted(fails)(request)
    except IntegrityError:
        logging.getLogger("training.some").exception("It failed", extra={"record": "Sam Example"})
    (line,) = written()
    assert line["message"] == "It failed"
    assert line["fault"]["kinds"] == ["django.db.utils.IntegrityError", "builtins.ValueError"]
    assert line["database"] == "unknown"
    assert line["fault"]["through"][-1].startswith("tests/training/web/test_logs.py:")
    assert line["fault"]["through"][-1].endswith(" fails")
    assert "Sam" not in json.dumps(line)


@pytest.mark.django_db
def test_a_line_written_within_a_request_carries_its_id_and_asks_no_database(
    written, django_assert_num_queries
) -> None:
    user = User(pk=7, email="x@example.org")

    def view(request: HttpRequest) -> HttpResponse:
        logging.getLogger("training.some").warning("before anybody was asked for")
        request.user = user  # type: ignore[assignment]
        logging.getLogger("training.some").warning("after")
        return HttpResponse()

    with django_assert_num_queries(0):
        answer = requests.Noted(view)(RequestFactory().get("/"))
    logging.getLogger("training.some").warning("outside")
    before, after, _, outside = written()
    assert before["request"] == after["request"] == answer["X-Request-ID"]
    assert ("user" in before, after["user"]) == (False, 7)
    assert {"request", "user"}.isdisjoint(outside)


def test_one_event_is_one_line_whatever_it_says(written) -> None:
    logging.getLogger("training.some").error('two\nlines "quoted" %s', "\u2028ü")
    (line,) = written()
    assert line["message"] == 'two\nlines "quoted" \u2028ü'


def test_a_person_reads_words_with_the_id_and_the_whole_trace() -> None:
    form = logs.Lines("{levelname} {name}: {message}", style="{")
    try:
        raise ValueError("said in full")
    except ValueError as error:
        record = logging.LogRecord(
            "some",
            logging.ERROR,
            __file__,
            1,
            "It %s",
            ("failed",),
            (type(error), error, error.__traceback__),
        )
    record.noted = {"request": "0f3a77c1", "user": 7}
    first, *rest = form.format(record).splitlines()
    assert first == "ERROR some: It failed (request 0f3a77c1, user 7)"
    assert rest[-1] == "ValueError: said in full"


@pytest.mark.parametrize("kind", ["json", "lines"])
def test_both_forms_can_be_set_up(kind: str) -> None:
    made = logs.logging_settings(kind, "INFO")
    form = made["formatters"]["line"]  # type: ignore[index]
    assert issubclass(form["()"], logs.JsonLines if kind == "json" else logs.Lines)
