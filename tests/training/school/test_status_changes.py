"""What changed since yesterday: by what came on record and by the days that passed, as kept and as shown."""

from __future__ import annotations

import datetime as dt

import pytest
import time_machine

from tests.support import factories
from tests.support.cast import Cast
from tests.support.reminding import at, on_record, sam, solo, sweep
from tests.training.web.test_pages import text_of
from training import models
from training.services.school import status_changes
from training.web.shared.status_changes import words as in_words

pytestmark = pytest.mark.django_db
#: Sam's solo endorsement of 1 February holds through 2 May 2026, the 90th day.
LAST = dt.date(2026, 5, 2)


def found(people: Cast, when: str) -> dict[str, status_changes.ChangedMilestone]:
    return {each.milestone: each for each in status_changes.of([people.sam], at(when))}


@pytest.mark.any_database  # others here and test_search make these queries on SQLite
def test_what_came_on_record_changed_a_status_and_is_no_news_the_next_day(people: Cast) -> None:
    sam(people)
    sweep("2026-04-18 14:00")
    assert found(people, "2026-04-18 14:01") == {}
    sam(people, solo("2026-02-01"))
    sweep("2026-04-18 15:00")
    one = found(people, "2026-04-18 15:01")["faa.first-solo"]
    assert one.before is not None
    assert one.before["gaps"] == one.after["gaps"] + 1
    assert (one.title, one.on) == ("Solo flight", dt.date(2026, 4, 18))
    assert found(people, "2026-04-19 04:59:59")["faa.first-solo"] == one
    assert found(people, "2026-04-19 05:00") == {}


@pytest.mark.any_database  # others here and test_reminders make these queries on SQLite
def test_the_days_that_passed_change_it_too_on_the_day_after_the_last(people: Cast) -> None:
    sam(people, solo("2026-02-01"))
    sweep("2026-05-03 04:59")
    assert found(people, "2026-05-03 04:59") == {}
    sweep("2026-05-03 05:01")
    one = found(people, "2026-05-03 05:02")["faa.first-solo"]
    assert one.before is not None
    assert one.after["gaps"] == one.before["gaps"] + 1


def test_what_changed_back_is_left_out_and_what_changed_twice_is_listed_once(people: Cast) -> None:
    sam(people)
    sweep("2026-04-18 14:00")
    sam(people, solo("2026-02-01"))
    sweep("2026-04-18 15:00")
    before = found(people, "2026-04-18 15:00")["faa.first-solo"].before
    sam(people)
    sweep("2026-04-18 16:00")
    assert found(people, "2026-04-18 16:00") == {}
    on_record(people.sam)
    sweep("2026-04-18 17:00")
    one = found(people, "2026-04-18 17:00")["faa.first-solo"]
    assert one.before == before
    assert models.StandingChange.objects.filter(milestone="faa.first-solo").count() == 3


def test_each_sees_those_whose_record_is_open_to_them_and_the_reading_is_noted(people: Cast, client) -> None:
    sam(people)
    sweep("2026-04-18 14:00")
    sam(people, solo("2026-02-01"))
    sweep("2026-04-18 15:00")
    when = at("2026-04-18 15:01")
    for user in (people.ida, people.ada, people.sams_account):
        models.AccessLog.objects.all().delete()
        assert {each.student for each in status_changes.seen_by(user, when, via="web")} == {people.sam}
        [noted] = models.AccessLog.objects.all()
        assert (noted.user, noted.student, noted.what) == (user, people.sam, "changes since yesterday")
    models.AccessLog.objects.all().delete()
    for user in (people.olaf, people.ottos_account, factories.instructor(people.school)):
        assert status_changes.seen_by(user, when, via="web") == []
    assert not models.AccessLog.objects.exists()
    with time_machine.travel(when, tick=False):
        for user, path, says in [
            (people.ida, "/since-yesterday/", "Solo flight:"),
            (people.ida, "/today/", "Since yesterday: Solo flight,"),
            (people.olaf, "/since-yesterday/", "No milestone changed since yesterday"),
        ]:
            client.force_login(user)
            assert says in text_of(client.get(path)), path
        client.force_login(people.ada)
        told = client.get("/api/v1/turns").json()["turns"]
    assert {each["student"]["name"] for each in told} == {"Sam Example"}
    assert told[0].keys() == {"student", "milestone", "title", "on", "before", "after"}


def test_it_asks_no_more_where_more_students_changed(people: Cast, django_assert_num_queries) -> None:
    for _ in range(20):
        pupil = factories.student(people.school, taught_by=people.ida)
        models.StandingChange.objects.create(
            school=people.school,
            student=pupil,
            milestone="faa.first-solo",
            on=dt.date(2026, 4, 18),
            at=at("2026-04-18 15:00"),
            before={"met": False, "eligible_until": None, "gaps": 1},
            after={"met": True, "eligible_until": "2026-05-02", "gaps": 0},
        )
    with django_assert_num_queries(2):
        assert len(status_changes.seen_by(people.ida, at("2026-04-18 15:01"), via="web")) == 20


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        pytest.param(
            (False, None, 1), (True, "2026-05-02", 0),
            "met through 2 May 2026; before, 1 requirement was not met", id="met now",
        ),
        pytest.param(
            (True, None, 0), (False, None, 2),
            "2 requirements are not met; before, it was met with no end date", id="met no more",
        ),
        pytest.param(
            (True, "2026-05-02", 0), (True, "2026-07-30", 0),
            "met through 30 Jul 2026; before, it was met through 2 May 2026", id="renewed",
        ),
        pytest.param(
            (False, None, 3), (None, None, 1),
            "unknown: 1 requirement needs more facts; before, 3 requirements were not met",
            id="a question now",
        ),
        pytest.param(
            (None, None, 2), (True, None, 0),
            "met, with no end date; before, 2 requirements were unknown", id="a question no more",
        ),
        pytest.param(
            None, (False, None, 4), "4 requirements are not met; not checked before", id="new"
        ),
    ],
)  # fmt: skip
def test_a_status_change_in_words(people: Cast, before, after, words: str) -> None:
    def short(given):
        return given and dict(zip(("met", "eligible_until", "gaps"), given, strict=True))

    change = status_changes.ChangedMilestone(
        people.sam, "faa.first-solo", "Solo flight", dt.date(2026, 4, 18), short(before), short(after)
    )
    assert in_words(change) == words
