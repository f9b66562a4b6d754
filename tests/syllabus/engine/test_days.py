"""The algebra of days against plain sets of dates."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from syllabus.engine.time.days import Days

START, LENGTH = date(2026, 1, 1), 40
CALENDAR = [START + timedelta(days=number) for number in range(LENGTH)]
WITHIN = Days.between(CALENDAR[0], CALENDAR[-1])
OPEN = (None, None)

ends = st.sampled_from(CALENDAR)
spans = st.lists(st.tuples(st.none() | ends, st.none() | ends), max_size=5)


def plain(pairs):
    """The same set as dates of the small calendar, one by one."""
    return {
        day for day in CALENDAR for first, last in pairs if (first or day) <= day <= (last or day)
    }  # fmt: skip


def shown(days: Days) -> set[date]:
    return {day for day in CALENDAR if day in days}


@given(spans, spans)
def test_union_intersection_and_difference_are_those_of_sets(a, b):
    mine, theirs = Days.of(a), Days.of(b)

    assert shown(mine) == plain(a)
    assert shown(mine | theirs) == plain(a) | plain(b)
    assert shown(mine & theirs) == plain(a) & plain(b)
    assert shown(mine - theirs) == plain(a) - plain(b)
    assert shown(~mine) == set(CALENDAR) - plain(a)


@given(spans, spans, spans)
def test_the_laws_of_sets_hold(a, b, c):
    one, two, three = map(Days.of, (a, b, c))

    assert one | two == two | one == Days.union([one, two])
    assert one & two == two & one
    assert one & (two | three) == (one & two) | (one & three)
    assert ~(one | two) == ~one & ~two
    assert ~~one == one
    assert one | ~one == Days.all()
    assert one & ~one == Days.none()
    assert one & Days.all() == one == one | Days.none()


@given(spans)
def test_equal_sets_are_written_alike(a):
    """Spans in order, a day apart at least: a set has one form, whatever it was made of."""
    made = Days.of(a)

    assert all(later[0] > earlier[1] + 1 for earlier, later in zip(made.spans, made.spans[1:], strict=False))
    assert all(low <= high for low, high in made.spans)
    assert Days.of(made) == made == Days.of(reversed(a))
    assert bool(made) == (made != Days.none())


@given(spans, ends)
def test_the_span_from_a_day_starts_at_the_first_day_on_or_after_it(a, day):
    made = Days.of(a)
    found = made.from_day(day)
    later = [each for each in CALENDAR if each >= day and each in made]

    if found is None:
        assert not later
    elif later:
        first, last = found
        assert first == later[0]
        run = [each for each in CALENDAR if first <= each and (last is None or each <= last)]
        assert all(each in made for each in run)
        assert last is None or last + timedelta(days=1) not in made


@pytest.mark.parametrize(
    ("first", "last", "pairs"),
    [
        pytest.param(
            date(2026, 1, 10), date(2026, 4, 10), [["2026-01-10", "2026-04-10"]], id="both ends count"
        ),
        pytest.param(
            date(2026, 1, 10), date(2026, 1, 10), [["2026-01-10", "2026-01-10"]], id="a day is a span"
        ),
        pytest.param(date(2026, 1, 10), date(2026, 1, 9), [], id="the wrong way round it is empty"),
        pytest.param(date(2026, 1, 10), None, [["2026-01-10", None]], id="without a last day it is open"),
        pytest.param(None, date(2026, 1, 10), [[None, "2026-01-10"]], id="without a first day it is open"),
        pytest.param(None, None, [[None, None]], id="without either it is every day"),
    ],
)
def test_a_span_as_the_report_writes_it(first, last, pairs):
    assert Days.between(first, last).as_pairs() == pairs


def test_spans_that_touch_are_one_and_spans_a_day_apart_are_two():
    touching = Days.of([(date(2026, 1, 1), date(2026, 1, 31)), (date(2026, 2, 1), date(2026, 2, 28))])
    apart = Days.of([(date(2026, 1, 1), date(2026, 1, 30)), (date(2026, 2, 1), date(2026, 2, 28))])

    assert touching.as_pairs() == [["2026-01-01", "2026-02-28"]]
    assert apart.as_pairs() == [["2026-01-01", "2026-01-30"], ["2026-02-01", "2026-02-28"]]


def test_what_never_happened_starts_no_days():
    assert Days.starting(None) == Days.none()
    assert Days.starting(date(2026, 1, 10)).as_pairs() == [["2026-01-10", None]]
    assert repr(Days.starting(date(2026, 1, 10))) == "Days(2026-01-10..)"
