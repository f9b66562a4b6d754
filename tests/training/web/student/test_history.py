"""The page of what changed, and the whole record to take away: who gets them, and what they say."""

from __future__ import annotations

import pytest
import time_machine
from django.test import Client

from tests.support import factories, handing, lessons
from tests.support.cast import Cast
from tests.support.kept import kept
from tests.training.web.test_pages import text_of
from training import models
from training.ledger.verify import handover as packages
from training.services.transfer import handover


@kept
def trained(taught: Cast) -> Cast:
    handing.trained(taught)
    return taught


def at(people: Cast, page: str) -> str:
    return f"/students/{people.sam.ref}/{page}/"


def signed_in(user: models.User) -> Client:
    client = Client()
    client.force_login(user)
    return client


@pytest.mark.any_database  # test_translation makes these queries on SQLite
def test_the_page_says_which_entries_and_which_status_changed(trained: Cast) -> None:
    with time_machine.travel(handing.AT, tick=False):
        page = signed_in(trained.sams_account).get(
            at(trained, "changes"), {"from": "2026-03-01", "to": "2026-03-10"}
        )
    assert page.status_code == 200
    said = text_of(page)
    assert "1 Mar 2026 to 10 Mar 2026. Entries: " in said
    assert "Flight of 2 Mar 2026, 1.4 h in N00XY was added." in said
    assert "because the record changed." in said


@pytest.mark.any_database  # test_handover and test_translation make these queries on SQLite
def test_the_page_names_the_school_that_a_record_came_from(trained: Cast) -> None:
    raw, kid = handing.made(trained)
    administrator = factories.administrator(trained.elsewhere)
    done = handover.take(
        raw,
        school=trained.elsewhere,
        trust=[kid],
        by=administrator,
        at=handing.AT,
        via="command",
        reason="new here",
    )
    page = signed_in(administrator).get(f"/students/{done.student.ref}/changes/")
    assert "Lakeside Flying, signed 12 Mar 2026, transferred 12 Mar 2026: 8 signed entries" in text_of(page)
    assert kid in text_of(page)


@pytest.mark.any_database  # test_translation makes these queries on SQLite
@pytest.mark.parametrize(
    ("asked", "says"),
    [
        pytest.param({"from": "2026-13-01"}, "2026-13-01' is not a calendar date", id="no day"),
        pytest.param(
            {"from": "2026-03-10", "to": "2026-03-01"}, "is after the last day", id="the wrong way round"
        ),
        pytest.param({"from": "1960-01-01"}, "no version in force", id="before all law that is known here"),
    ],
)
def test_days_that_cannot_be_are_told(trained: Cast, asked, says) -> None:
    with time_machine.travel(handing.AT, tick=False):
        page = signed_in(trained.ida).get(at(trained, "changes"), asked)
    assert page.status_code == 422
    assert says in text_of(page)


@pytest.mark.any_database  # test_handover and test_translation make these queries on SQLite
@pytest.mark.parametrize("who", ["sams_account", "ida", "ada"])
def test_who_may_read_the_record_takes_it_away_whole(trained: Cast, who: str) -> None:
    with time_machine.travel(lessons.AT, tick=False):
        answer = signed_in(getattr(trained, who)).post(at(trained, "hand-over"))
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/zip"
    assert packages.check(answer.content).whole


@pytest.mark.parametrize("who", ["olaf", "ottos_account"])
def test_others_do_not_learn_that_there_is_a_record(trained: Cast, who: str) -> None:
    client = signed_in(getattr(trained, who))
    assert client.get(at(trained, "changes")).status_code == 404
    assert client.post(at(trained, "hand-over")).status_code == 404
