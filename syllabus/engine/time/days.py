"""Sets of days: the algebra in which a requirement answers.

A set is a tuple of spans in order, apart from each other by at least a day. A span is a pair of days, first
and last, both of which count; ``None`` is open. Internally days are proleptic ordinals, so that a span's
neighbour is one more.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

_FIRST, _LAST = date.min.toordinal(), date.max.toordinal()

Span = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Days:
    """A set of days.

    >>> Days.between(date(2026, 1, 10), date(2026, 4, 10)) & Days.starting(date(2026, 3, 1))
    Days(2026-03-01..2026-04-10)
    """

    spans: tuple[Span, ...] = ()

    @classmethod
    def none(cls) -> Days:
        return _NONE

    @classmethod
    def all(cls) -> Days:
        return _ALL

    @classmethod
    def starting(cls, first: date | None) -> Days:
        """Every day from ``first`` on; no day at all for ``None`` (the thing never happened)."""
        return cls(((first.toordinal(), _LAST),)) if first else _NONE

    @classmethod
    def between(cls, first: date | None, last: date | None) -> Days:
        """From ``first`` to ``last``, both counting; ``None`` is open; empty when the wrong way round."""
        low = first.toordinal() if first else _FIRST
        high = last.toordinal() if last else _LAST
        return cls(((low, high),)) if low <= high else _NONE

    @classmethod
    def union(cls, sets: Iterable[Days]) -> Days:
        return cls(_merged([span for days in sets for span in days.spans]))

    @classmethod
    def of(cls, spans: Iterable[tuple[date | None, date | None]]) -> Days:
        return cls.union(cls.between(first, last) for first, last in spans)

    def __and__(self, other: Days) -> Days:
        if self.spans == _ALL.spans:
            return other
        if other.spans == _ALL.spans:
            return self
        found, mine, theirs = [], iter(self.spans), iter(other.spans)
        a, b = next(mine, None), next(theirs, None)
        while a and b:
            low, high = max(a[0], b[0]), min(a[1], b[1])
            if low <= high:
                found.append((low, high))
            if a[1] < b[1]:
                a = next(mine, None)
            else:
                b = next(theirs, None)
        return Days(tuple(found))

    def __or__(self, other: Days) -> Days:
        return self if self.spans == other.spans else Days.union((self, other))

    def __invert__(self) -> Days:
        gaps, start = [], _FIRST
        for low, high in self.spans:
            if start < low:
                gaps.append((start, low - 1))
            start = high + 1
        if start <= _LAST:
            gaps.append((start, _LAST))
        return Days(tuple(gaps))

    def __sub__(self, other: Days) -> Days:
        return self & ~other

    def __contains__(self, day: date) -> bool:
        at = day.toordinal()
        for low, high in self.spans:  # noqa: SIM110 - asked very often, and a generator costs more
            if low <= at <= high:
                return True
        return False

    def __bool__(self) -> bool:
        return bool(self.spans)

    def __iter__(self) -> Iterator[tuple[date | None, date | None]]:
        for low, high in self.spans:
            yield (
                None if low == _FIRST else date.fromordinal(low),
                None if high == _LAST else date.fromordinal(high),
            )

    def from_day(self, day: date) -> tuple[date, date | None] | None:
        """The first day on or after ``day`` that is in the set, and the last day of the span it starts."""
        at = day.toordinal()
        for low, high in self.spans:
            if high >= at:
                return date.fromordinal(max(low, at)), None if high == _LAST else date.fromordinal(high)
        return None

    def as_pairs(self) -> list[list[str | None]]:
        """The form of the eligibility report: ``[["2026-01-10", "2026-04-10"], ["2026-06-01", None]]``."""
        return [[each.isoformat() if each else None for each in span] for span in self]

    def __repr__(self) -> str:
        spans = (f"{first or ''}..{last or ''}" for first, last in self)
        return f"Days({', '.join(spans)})"


def _merged(spans: list[Span]) -> tuple[Span, ...]:
    if len(spans) <= 1:
        return tuple(spans)
    merged: list[Span] = []
    for low, high in sorted(spans):
        if merged and low <= merged[-1][1] + 1:
            if high > merged[-1][1]:
                merged[-1] = (merged[-1][0], high)
        else:
            merged.append((low, high))
    return tuple(merged)


_NONE = Days()
_ALL = Days(((_FIRST, _LAST),))
