"""Whether what must run on and on still runs."""

import datetime as dt

import pytest

from training.models import Heartbeat
from training.services.operations import heartbeats

NOON = dt.datetime(2026, 11, 25, 12, 0, tzinfo=dt.UTC)

pytestmark = pytest.mark.django_db


def after(seconds: float) -> dt.datetime:
    return NOON + dt.timedelta(seconds=seconds)


@pytest.mark.parametrize(
    ("seconds", "red"),
    [
        pytest.param(0, False, id="just now"),
        pytest.param(60, False, id="one tick is due"),
        pytest.param(180, False, id="the third is due this very moment"),
        pytest.param(180.001, True, id="three are missing"),
        pytest.param(86_400, True, id="a day"),
        pytest.param(-180, False, id="another clock is a little ahead"),
        pytest.param(-180.001, True, id="another clock is so far ahead that missing ticks would not show"),
    ],
)
def test_the_sweep_is_late_once_three_ticks_are_missing(seconds: float, red: bool) -> None:
    heartbeats.mark(heartbeats.SWEEP, NOON)
    assert heartbeats.late(after(seconds)) == ([heartbeats.Late(heartbeats.SWEEP, NOON)] if red else [])
    assert heartbeats.lags(after(seconds)) == {heartbeats.SWEEP: seconds}


def test_what_never_ran_is_late() -> None:
    assert heartbeats.late(NOON) == [heartbeats.Late(heartbeats.SWEEP, None)]
    assert heartbeats.lags(NOON) == {heartbeats.SWEEP: None}


def test_the_last_mark_counts_even_if_a_clock_was_ahead_before(django_assert_num_queries) -> None:
    heartbeats.mark(heartbeats.SWEEP, after(10**7))
    with django_assert_num_queries(1):
        heartbeats.mark(heartbeats.SWEEP, NOON)
    assert Heartbeat.objects.get().at == NOON
    assert heartbeats.late(after(30)) == []
    assert heartbeats.late(after(181)) != []


def test_a_misspelt_name_is_refused_for_nobody_would_watch_it() -> None:
    with pytest.raises(ValueError, match="'swep' is not a background job; use one of sweep"):
        heartbeats.mark("swep", NOON)
