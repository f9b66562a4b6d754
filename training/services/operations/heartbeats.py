"""Whether what must run on and on still runs: each run leaves its time, and three missing ones are told.

The rows are the same with Celery and without: whoever runs the sweep marks it, so that "it ticks" means that
the work was done, not that some process is up.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from training.models import Tick

SWEEP = "sweep"
#: What must tick, and how often.
EVERY: Mapping[str, dt.timedelta] = {SWEEP: dt.timedelta(minutes=1)}
#: So many may be missed before it is called late: one is a restart, two a slow minute.
MISSED = 3


@dataclass(frozen=True, slots=True)
class Late:
    """A work that has missed its ticks. ``last`` is None where it never ran."""

    name: str
    last: dt.datetime | None


def mark(name: str, at: dt.datetime) -> None:
    """Note that the work of that name was done at an instant. One statement.

    The time is taken as it is, even if it is earlier than the one there: a clock that once ran ahead must not
    make a dead work look alive.

    Raises: ValueError for a name that is not in ``EVERY``.
    """
    if name not in EVERY:
        raise ValueError(f"{name!r} is not a background job; use one of {', '.join(EVERY)}")
    Tick.objects.bulk_create(
        [Tick(name=name, at=at)], update_conflicts=True, unique_fields=["name"], update_fields=["at"]
    )


def lags(at: dt.datetime) -> dict[str, float | None]:
    """Seconds since each work's last tick; None where it never ran. One query."""
    seen = dict(Tick.objects.values_list("name", "at"))
    return {name: (at - seen[name]).total_seconds() if name in seen else None for name in EVERY}


def late(at: dt.datetime) -> list[Late]:
    """The works that never ran, or whose last three ticks are missing at that instant. One query.

    A tick as far in the future is as bad: two clocks disagree, and it would hide every missed one until then.
    """
    found = []
    for name, lag in lags(at).items():
        if lag is None:
            found.append(Late(name, None))
        elif abs(lag) > MISSED * EVERY[name].total_seconds():
            found.append(Late(name, at - dt.timedelta(seconds=lag)))
    return found
