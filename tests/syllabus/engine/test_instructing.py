"""How much training an instructor gave in how many hours, and which aircraft ratings cover."""

from __future__ import annotations

import random
import zoneinfo
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from syllabus.engine.audit.instructing import (
    Rating,
    RatingsError,
    Training,
    covered,
    fullest,
    read_ratings,
    training,
)
from syllabus.engine.time.units import HOUR, MINUTE
from tests.support.extent import count

CHICAGO = zoneinfo.ZoneInfo("America/Chicago")
DAY = 24 * HOUR
EIGHT = 8 * HOUR
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


def flown(name: str, off: datetime, time: timedelta, least: int | None = None) -> Training:
    """A flight all of which is training, or at least that much of it."""
    whole = time // timedelta(microseconds=1)
    return training(name, off.date(), UTC, whole if least is None else least, whole, off, off + time)


def exceeds(*entries: Training, about: str | None = None) -> bool | None:
    tally = fullest(entries, DAY, about=about)
    assert tally is not None
    return tally.exceeds(EIGHT)


def hm(hours: float, minutes: float = 0) -> timedelta:
    return timedelta(hours=hours, minutes=minutes)


@pytest.mark.parametrize(
    ("entries", "expected"),
    [
        pytest.param([(0, hm(8))], False, id="eight hours at a stretch"),
        pytest.param([(0, hm(8, 1))], True, id="a minute more at a stretch"),
        pytest.param(
            [(0, hm(4)), (20, hm(4))], False, id="four and four that end 24 hours after the first began"
        ),
        pytest.param([(0, hm(4)), (20, hm(4, 1))], False, id="longer, but its minute is past the 24 hours"),
        pytest.param([(0, hm(4)), (19, hm(4, 1))], True, id="the same an hour earlier"),
        pytest.param(
            [(0, hm(4)), (20.5, hm(4, 31))], False, id="late enough for the first minutes to drop out"
        ),
        pytest.param([(0, hm(8)), (24, hm(8))], False, id="eight hours each day at the same time"),
        pytest.param([(0, hm(8)), (23.5, hm(8))], True, id="half an hour earlier on the second day"),
        pytest.param(
            [(0, hm(5)), (12, hm(3)), (23, hm(5))], True, id="eight hours that a third flight exceeds"
        ),
    ],
)
def test_eight_hours_are_allowed_and_a_minute_more_is_not(entries, expected):
    given = [flown(f"f{n}", NOON + hm(start), time) for n, (start, time) in enumerate(entries)]
    assert exceeds(*given) is expected


def test_the_window_lies_across_midnight_and_names_what_is_in_it():
    late = flown("late", datetime(2026, 3, 2, 22, tzinfo=UTC), hm(4))
    early = flown("early", datetime(2026, 3, 3, 6, tzinfo=UTC), hm(4, 1))
    tally = fullest([early, late], DAY)
    assert tally
    assert tally.exceeds(EIGHT) is True
    assert (tally.sure.amount, tally.sure.entries) == (8 * HOUR + MINUTE, ("late", "early"))
    assert tally.sure.start <= datetime(2026, 3, 2, 22, tzinfo=UTC)


@pytest.mark.parametrize(
    ("day", "expected"),
    [
        pytest.param(date(2026, 3, 7), True, id="23 hours apart: the clock goes forward"),
        pytest.param(date(2026, 6, 1), False, id="24 hours apart"),
        pytest.param(date(2026, 10, 31), False, id="25 hours apart: the clock goes back"),
    ],
)
def test_eight_hours_at_the_same_clock_time_two_days_running(day, expected):
    given = []
    for later in (0, 1):
        off = datetime.combine(day + timedelta(days=later), datetime.min.time(), CHICAGO) + hm(9)
        off = off.astimezone(UTC)
        given.append(flown(f"f{later}", off, hm(8)))
    assert exceeds(*given) is expected


@pytest.mark.parametrize(
    ("day", "expected"),
    [
        pytest.param(date(2026, 3, 7), True, id="the night the clock goes forward is an hour shorter"),
        pytest.param(date(2026, 6, 1), False, id="a night of summer"),
        pytest.param(date(2026, 10, 31), False, id="the night the clock goes back"),
    ],
)
def test_the_hours_are_those_that_pass_not_those_on_the_dial(day, expected):
    """Four hours from 09:00, then four and a half from 05:00 on: from 09:00 to 09:00 are eight."""
    first = datetime.combine(day, datetime.min.time(), CHICAGO).replace(hour=9).astimezone(UTC)
    then = (
        datetime.combine(day + timedelta(days=1), datetime.min.time(), CHICAGO)
        .replace(hour=5)
        .astimezone(UTC)
    )
    assert exceeds(flown("a", first, hm(4)), flown("b", then, hm(4, 30))) is expected


@pytest.mark.parametrize(
    ("hours", "expected"),
    [
        pytest.param(8, False, id="eight hours on one day, wherever on it they lie"),
        pytest.param(9, True, id="nine hours on one day that the clock times do not tell"),
    ],
)
def test_flights_with_a_date_and_a_total_alone(hours, expected):
    """Both lie somewhere on one day, or past its midnight: at most 24 hours hold them, or they may not."""
    given = [training(f"f{n}", NOON.date(), UTC, HOUR, HOUR, None, None) for n in range(hours)]
    assert exceeds(*given) is (None if expected else False)


def test_a_day_and_the_next_without_clock_times_are_a_question():
    given = [
        training(f"f{n}", NOON.date() + timedelta(days=n), UTC, 5 * HOUR, 5 * HOUR, None, None)
        for n in range(2)
    ]
    assert exceeds(*given) is None
    given[1] = training("f1", NOON.date() + timedelta(days=3), UTC, 5 * HOUR, 5 * HOUR, None, None)
    assert exceeds(*given) is False


def test_one_flight_of_nine_hours_is_too_much_where_they_are_sure_to_lie_within_24():
    assert exceeds(training("f", NOON.date(), UTC, 9 * HOUR, 9 * HOUR, None, None)) is None
    assert exceeds(training("f", NOON.date(), UTC, 9 * HOUR, 9 * HOUR, NOON, None)) is True
    assert exceeds(training("f", NOON.date(), UTC, 9 * HOUR, 9 * HOUR, NOON, NOON + hm(9))) is True


def test_training_that_was_not_written_down_is_at_most_the_flight():
    assert exceeds(training("f", NOON.date(), UTC, 0, None, NOON, NOON + hm(8))) is False
    assert exceeds(training("f", NOON.date(), UTC, 0, None, NOON, NOON + hm(9))) is None


def test_what_was_logged_beyond_off_and_on_still_counts():
    assert (
        exceeds(training("f", NOON.date(), UTC, EIGHT + MINUTE, EIGHT + MINUTE, NOON, NOON + hm(7.5))) is True
    )


def test_another_day_that_was_too_full_is_nothing_about_this_flight():
    full = flown("full", NOON, hm(9))
    assert exceeds(full, flown("f", NOON + hm(72), hm(1)), about="f") is False
    assert exceeds(full, flown("f", NOON + hm(12), hm(1)), about="f") is True
    assert fullest([full], DAY, about="f") is None
    assert fullest([], DAY) is None


pieces = st.lists(st.tuples(st.integers(0, 400), st.integers(1, 60)), min_size=1, max_size=8)
few = settings(max_examples=count(30, 150), deadline=None)


@given(pieces=pieces, within=st.integers(5, 120))
@few
def test_it_is_what_trying_every_minute_finds(pieces, within):
    """The oracle counts minutes of training in every window that begins on a minute."""
    entries = [
        Training(f"f{n}", start * MINUTE, (start + long) * MINUTE, long * MINUTE, long * MINUTE)
        for n, (start, long) in enumerate(pieces)
    ]
    given = [0] * 1000
    for start, long in pieces:
        for minute in range(start, start + long):
            given[200 + minute] += 1
    most = max(sum(given[at : at + within]) for at in range(1000 - within))
    tally = fullest(entries, within * MINUTE)
    assert tally is not None
    assert tally.sure.amount == tally.possible.amount == most * MINUTE


@given(pieces=pieces, within=st.integers(5, 120), seed=st.integers(0, 10**6))
@few
def test_however_the_training_lay_within_its_flights_the_answer_is_between_the_two(pieces, within, seed):
    chance = random.Random(seed)
    entries, given = [], [0] * 1000
    for n, (start, long) in enumerate(pieces):
        lay = chance.sample(range(start, start + long), chance.randint(0, long))
        least, most = chance.randint(0, len(lay)), chance.randint(len(lay), long)
        entries.append(
            Training(f"f{n}", start * MINUTE, (start + long) * MINUTE, least * MINUTE, most * MINUTE)
        )
        for minute in lay:
            given[200 + minute] += 1
    most = max(sum(given[at : at + within]) for at in range(1000 - within))
    tally = fullest(entries, within * MINUTE)
    assert tally is not None
    assert tally.sure.amount <= most * MINUTE <= tally.possible.amount


@given(pieces=pieces, order=st.randoms())
@few
def test_the_order_of_entries_changes_nothing(pieces, order):
    entries = [
        Training(f"f{n}", start * HOUR, (start + long) * HOUR, HOUR, long * HOUR)
        for n, (start, long) in enumerate(pieces)
    ]
    mixed = entries[:]
    order.shuffle(mixed)
    assert fullest(entries, DAY) == fullest(mixed, DAY)


SINGLE = Rating("airplane", "single-engine land")


@pytest.mark.parametrize(
    ("ratings", "category", "klass", "expected"),
    [
        pytest.param((SINGLE,), "airplane", "single-engine land", True, id="the class held"),
        pytest.param((SINGLE,), "airplane", "multiengine land", False, id="another class"),
        pytest.param((SINGLE,), "airplane", "single-engine sea", False, id="the sea class of the same"),
        pytest.param((SINGLE,), "rotorcraft", "helicopter", False, id="another category"),
        pytest.param((SINGLE,), "airplane", None, None, id="an aircraft whose class nobody wrote down"),
        pytest.param((SINGLE,), None, None, None, id="an aircraft of which nothing was written down"),
        pytest.param((SINGLE,), "glider", None, False, id="a glider, with airplane ratings"),
        pytest.param((Rating("glider"),), "glider", None, True, id="a glider: it has no class"),
        pytest.param(
            (Rating("airplane"),), "airplane", "multiengine land", None, id="a rating without its class"
        ),
        pytest.param(
            (Rating("airplane"), SINGLE), "airplane", "single-engine land", True, id="one of two covers"
        ),
        pytest.param((), "airplane", "single-engine land", False, id="no rating at all"),
        pytest.param((), None, None, False, id="no rating at all, whatever the aircraft"),
    ],
)
def test_ratings_cover_what_they_name(ratings, category, klass, expected):
    assert covered(ratings, category, klass, {"airplane", "rotorcraft"}) is expected


def test_ratings_are_read_as_the_school_writes_them():
    assert read_ratings([]) == ()
    assert read_ratings(
        [{"category": "airplane", "class": "single-engine land", "instrument": True}, {"category": "glider"}]
    ) == (Rating("airplane", "single-engine land", True), Rating("glider"))


@pytest.mark.parametrize(
    ("value", "place"),
    [
        pytest.param("airplane", "ratings", id="a word for the list"),
        pytest.param(["airplane"], "ratings[0]", id="a word for a rating"),
        pytest.param([{"class": "single-engine land"}], "ratings[0].category", id="no category"),
        pytest.param([{"category": "plane"}], "ratings[0].category", id="a category there is none of"),
        pytest.param(
            [{"category": "airplane", "class": "SEL"}], "ratings[0].class", id="a class by its letters"
        ),
        pytest.param([{"category": "airplane", "klass": "x"}], "ratings[0].klass", id="a key nobody knows"),
        pytest.param(
            [{"category": "airplane", "instrument": 1}], "ratings[0].instrument", id="a number for yes"
        ),
        pytest.param([{"category": "airplane"}] * 51, "ratings", id="fifty-one"),
    ],
)
def test_a_rating_that_cannot_be_read_is_named(value, place):
    with pytest.raises(RatingsError) as refused:
        read_ratings(value)
    assert place in {fault.place for fault in refused.value.errors}
