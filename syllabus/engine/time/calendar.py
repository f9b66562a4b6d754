"""How the law counts: the one place that does arithmetic on days.

"Calendar months" run to the end of a month, "days" never do, and a birthday is a date. Each function names
one way of counting, and a rule's data names the function; nobody else adds months or compares dates.
"""

from calendar import monthrange
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache

DAYS, MONTHS, CALENDAR_MONTHS, YEARS = "day", "month", "calendar month", "year"


@dataclass(frozen=True, slots=True)
class Length:
    """A length of time as a rule writes it: ``90 day``, ``24 calendar month``, ``48 month``, ``16 year``."""

    number: int
    unit: str

    def __str__(self) -> str:
        return f"{self.number} {self.unit}"


def _month(year: int, month_index: int) -> tuple[int, int]:
    years, index = divmod(year * 12 + month_index, 12)
    return years, index + 1


def birthday(born: date, years: int) -> date:
    """The day on which a person reaches ``years``; born on 29 February, on 1 March of a common year.

    >>> birthday(date(2008, 2, 29), 17)
    datetime.date(2025, 3, 1)
    """
    try:
        return born.replace(year=born.year + years)
    except ValueError:
        return date(born.year + years, 3, 1)


def age(born: date, on: date) -> int:
    """Whole years on a day; negative before birth."""
    years = on.year - born.year
    return years if birthday(born, years) <= on else years - 1


def same_day_months_on(day: date, months: int) -> date:
    """The same day of the month, ``months`` later, held back to the end of a short month ("48 months")."""
    year, month = _month(day.year, day.month - 1 + months)
    return date(year, month, min(day.day, monthrange(year, month)[1]))


def end_of_month_after(day: date, months: int) -> date:
    """Last day of the ``months``-th calendar month after the month of ``day``.

    Source: "the end of the last day of the 60th month after the month of the date of examination",
    14 CFR 61.23(d).

    >>> end_of_month_after(date(2024, 5, 3), 24)
    datetime.date(2026, 5, 31)
    """
    return _end_of_month(day.year, day.month - 1 + months)


@lru_cache(maxsize=4_096)
def _end_of_month(year: int, index: int) -> date:
    """The last day of a month, which is counted from 0 in the January of a year."""
    year, month = _month(year, index)
    return date(year, month, monthrange(year, month)[1])


def window_opens(on: date, months: int) -> date:
    """First day of the calendar month that lies ``months`` months before the month of ``on``.

    Source: "within the preceding 2 calendar months from the month of the test", 14 CFR 61.109(a)(4).

    >>> window_opens(date(2026, 6, 15), 2)
    datetime.date(2026, 4, 1)
    """
    year, month = _month(on.year, on.month - 1 - months)
    return date(year, month, 1)


def last_day(event: date, life: Length) -> date:
    """The last day on which something that happened on ``event`` and lives for ``life`` still holds.

    Days: the event's day is day 0, and day N still counts (the text says "within the 90 days preceding";
    that the last day is included is our reading, no worked example was found published).
    """
    match life.unit:
        case "day":
            return event + timedelta(days=life.number)
        case "calendar month":
            return end_of_month_after(event, life.number)
        case "month":
            return same_day_months_on(event, life.number)
        case "year":
            return birthday(event, life.number)
    raise ValueError(f"{life.unit!r} is not a unit of a period; use day, month, calendar month or year")


def window_start(on: date, length: Length) -> date:
    """The first day whose events still lie within ``length`` before ``on``."""
    match length.unit:
        case "day":
            return on - timedelta(days=length.number)
        case "calendar month":
            return window_opens(on, length.number)
    raise ValueError(f"a window is counted in days or calendar months, not in {length.unit!r}")
