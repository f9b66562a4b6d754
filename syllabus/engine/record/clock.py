"""The times on the clock of a logbook entry, held against each other and against its date."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, datetime
from itertools import pairwise


def clock_contradictions(
    day: date | None, at: Iterable[tuple[str, datetime | None]]
) -> Iterator[tuple[str, str]]:
    """What contradicts another of the times, in the order of a flight; each with its key."""
    known = [(key, instant) for key, instant in at if instant is not None]
    for (before, earlier), (after, later) in pairwise(known):
        if later < earlier:
            yield after, f"{later.isoformat()} is before {before}, {earlier.isoformat()}"
        elif (later - earlier).total_seconds() > 86_400:
            yield after, f"more than 24 hours after {before}; write one entry for each flight"
    # an offset other than the field's own moves the date of an instant by one day at most
    for key, instant in known[:1]:
        if day is not None and abs((instant.date() - day).days) > 1:
            yield key, f"{instant.isoformat()} is not on {day}, the entry's date; correct one of them"
