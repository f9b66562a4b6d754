"""Whoever gives the training: which aircraft their ratings cover, how much they gave within how long."""

from bisect import bisect_left
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from itertools import pairwise
from typing import Any

from syllabus.engine.errors import InputError
from syllabus.engine.record import reading
from syllabus.engine.record.reading import Errors, Object
from syllabus.engine.record.vocabulary import CATEGORIES, CLASSES

MOST_RATINGS = 50
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)


class RatingsError(InputError):
    """An instructor's ratings cannot be read as they stand."""

    what = "the ratings"


@dataclass(frozen=True, slots=True)
class Rating:
    """In aircraft of which category and class the instructor may give flight training.

    As the instructor certificate and the pilot certificate allow together: the first has no land and sea, the
    second has. Without a class it was not recorded. ``instrument``: the instrument rating on the instructor
    certificate; None where it was not recorded.
    """

    category: str
    klass: str | None = None
    instrument: bool | None = None

    def __str__(self) -> str:
        return " ".join(filter(None, (self.category, self.klass)))


def read_ratings(value: Any, place: str = "ratings") -> tuple[Rating, ...]:
    """Ratings as ``[{"category", "class", "instrument"}]``; an empty list says that there are none.

    Raises: RatingsError with every error.
    """
    errors = Errors()
    found = reading.list_of(_rating, most=MOST_RATINGS)(errors, value, place)
    errors.stop(RatingsError)
    return tuple(found)


def _rating(errors: Errors, value: Any, place: str) -> Rating:
    fields = Object(errors, value, place)
    category = fields.take("category", reading.one_of(CATEGORIES, "a category"), required=True)
    klass = fields.take("class", reading.one_of(CLASSES, "a class"))
    instrument = fields.take("instrument", reading.flag)
    fields.done()
    return Rating(category, klass, instrument)


def covered(
    ratings: Sequence[Rating], category: str | None, klass: str | None, with_class: Collection[str]
) -> bool | None:
    """Whether ratings cover an aircraft: no where they certainly do not, None where a fact is missing.

    ``with_class`` are the categories that have classes; in another a rating without one says all.
    """
    if category is None:
        return None if ratings else False
    same = [each for each in ratings if each.category == category]
    if not same:
        return False
    if category not in with_class:
        return True
    if klass is None:
        return None
    if any(each.klass == klass for each in same):
        return True
    return None if any(each.klass is None for each in same) else False


def instrument(ratings: Sequence[Rating], category: str | None) -> bool | None:
    """Whether ratings allow training for an instrument rating; None where that was not recorded."""
    same = [each.instrument for each in ratings if each.category == category]
    if True in same:
        return True
    return None if category is None or None in same else False


@dataclass(frozen=True, slots=True)
class Training:
    """Flight training on record, in whole microseconds since 1970 in UTC.

    Between ``least`` and ``most`` of it lies somewhere between ``first`` and ``last``, in any pieces.
    """

    id: str
    first: int
    last: int
    least: int
    most: int

    def within(self, start: int, end: int) -> tuple[int, int]:
        """How much of it lies between two instants: certainly, and at most."""
        inside = max(0, min(self.last, end) - max(self.first, start))
        outside = self.last - self.first - inside
        return max(0, self.least - outside), min(self.most, inside)


def training(
    id: str, day: date, zone: tzinfo, least: int, most: int | None, off: datetime | None, on: datetime | None
) -> Training:
    """The training of one flight, at least and at most so many microseconds; None: as many as there are.

    Where off or on is missing it lies somewhere on that day in ``zone``, or runs on past midnight. Where more
    was logged than lies between off and on, the rest lies next to it on either side (taxi, rounding).
    """
    begins, ends = (_midnight(day + timedelta(days=later), zone) for later in (0, 1))
    amount = most or 0
    if off is not None and on is not None:
        begins, ends = _instant(off), _instant(on)
        beside = max(0, amount - (ends - begins))
        begins, ends = begins - beside, ends + beside
    elif off is not None:
        begins = _instant(off)
        ends = max(ends, begins) + amount
    elif on is not None:
        ends = _instant(on)
        begins = min(begins, ends - amount)
    else:
        ends += amount
    return Training(id, begins, ends, least, ends - begins if most is None else most)


def _instant(at: datetime) -> int:
    return (at - _EPOCH) // _MICROSECOND


def _midnight(day: date, zone: tzinfo) -> int:
    return _instant(datetime.combine(day, time(), zone))


@dataclass(frozen=True, slots=True)
class Window:
    """The hours on the clock that hold the most training, from ``start`` on; entries by their id."""

    start: datetime
    amount: int
    entries: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Tally:
    """The fullest hours: by what is certain, and by what there could have been at most."""

    sure: Window
    possible: Window

    def exceeds(self, most: int) -> bool | None:
        """More than ``most``? None where what is on record does not tell; exactly as much is not more."""
        if self.sure.amount > most:
            return True
        return None if self.possible.amount > most else False


def fullest(given: Iterable[Training], within: int, *, about: str | None = None) -> Tally | None:
    """The hours, ``within`` microseconds on the clock, that hold the most training; None without any.

    With ``about`` only hours that touch the entry of that id are looked at. The windows lie anywhere on the
    clock, across midnight and a change of the clocks alike. What each entry puts into a window rises and
    falls in straight lines as the window moves, so the fullest begins where one of these lines bends.
    """
    entries = sorted(given, key=lambda each: (each.first, each.id))
    firsts = [each.first for each in entries]
    longest = max((each.last - each.first for each in entries), default=0)
    best: list[tuple[int, int, tuple[str, ...]]] = [(-1, 0, ())] * 2
    for start in _starts(entries, within, about):
        end = start + within
        near = entries[bisect_left(firsts, start - longest) : bisect_left(firsts, end)]
        parts = [(each.id, each.within(start, end)) for each in near]
        for which in (0, 1):
            amount = sum(part[which] for _, part in parts)
            if amount > best[which][0]:
                best[which] = (amount, start, tuple(name for name, part in parts if part[which]))
    if best[0][0] < 0:
        return None
    sure, possible = (Window(_EPOCH + start * _MICROSECOND, amount, names) for amount, start, names in best)
    return Tally(sure, possible)


def _starts(entries: list[Training], within: int, about: str | None) -> list[int]:
    """Where the fullest hours may begin; with ``about`` those that touch that entry."""
    starts = sorted({point for each in entries for point in _bends(each, within)})
    if about is None:
        return starts
    asked = [each for each in entries if each.id == about]
    # A window that ends just where the entry begins counts: one a moment later holds some of it.
    return [
        start
        for start in starts
        if any(each.first <= start + within and each.last >= start for each in asked)
    ]


def _bends(each: Training, within: int) -> tuple[int, ...]:
    span = each.last - each.first
    edges = (0, span, min(each.most, span), span - min(each.least, span))
    return tuple(point for edge in edges for point in (each.last - edge, each.first + edge - within))


def too_full(given: Iterable[Training], most: int, within: int) -> Iterator[Tally]:
    """Every stretch of hours that holds too much training, or may: the fullest first, none told twice.

    Entries that lie together are looked at by themselves; those of a stretch that was told are not told
    again. Linear in the entries but for the few that lie close together.
    """
    ordered = sorted(given, key=lambda each: (each.first, each.id))
    groups: list[list[Training]] = []
    for each in ordered:
        if groups and each.first <= max(one.last for one in groups[-1][-8:]) + within:
            groups[-1].append(each)
        else:
            groups.append([each])
    for group in groups:
        for crowd in _crowded(group, most, within):
            left = crowd
            while left and (tally := fullest(left, within)) is not None:
                exceeded = tally.exceeds(most)
                if exceeded is False:
                    break
                window = tally.sure if exceeded else tally.possible
                yield tally
                left = [each for each in left if each.id not in window.entries]


def _crowded(group: list[Training], most: int, within: int) -> Iterator[list[Training]]:
    """The runs of a group in which some hours could hold too much at all."""
    marked: set[int] = set()
    start, held = 0, 0
    for index, each in enumerate(group):
        held += each.most
        while group[start].last + within < each.first:
            held -= group[start].most
            start += 1
        if held > most:
            marked.update(range(start, index + 1))
    run: list[Training] = []
    for before, index in pairwise([-2, *sorted(marked)]):
        if index != before + 1 and run:
            yield run
            run = []
        run.append(group[index])
    if run:
        yield run
