"""Whether the background jobs still run: each run leaves a heartbeat, and three missed ones are reported.

Whoever runs the sweep leaves it, with Celery or without: a heartbeat says that the work was done, not that a
process is up.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from training.models import Heartbeat

SWEEP = "sweep"
#: The jobs with heartbeats, and how often they run.
EVERY: Mapping[str, dt.timedelta] = {SWEEP: dt.timedelta(minutes=1)}
#: Missed heartbeats before a job is late: one is a restart, two a slow minute.
MISSED = 3


@dataclass(frozen=True, slots=True)
class Late:
    """A job that missed its heartbeats. ``last`` is None if it never ran."""

    name: str
    last: dt.datetime | None


def mark(name: str, at: dt.datetime) -> None:
    """Record that a job was done at an instant. One statement.

    An earlier instant replaces a later one too: a clock that once ran ahead must not make a dead job look
    alive.

    Raises: ValueError for a name that is not in ``EVERY``.
    """
    if name not in EVERY:
        raise ValueError(f"{name!r} is not a background job; use one of {', '.join(EVERY)}")
    Heartbeat.objects.bulk_create(
        [Heartbeat(name=name, at=at)], update_conflicts=True, unique_fields=["name"], update_fields=["at"]
    )


def lags(at: dt.datetime) -> dict[str, float | None]:
    """Seconds since each job's last heartbeat; None if it never ran. One query."""
    seen = dict(Heartbeat.objects.values_list("name", "at"))
    return {name: (at - seen[name]).total_seconds() if name in seen else None for name in EVERY}


def late(at: dt.datetime) -> list[Late]:
    """The jobs that never ran, or missed three heartbeats at that instant. One query.

    A heartbeat equally far in the future is as bad: two clocks disagree, and it would hide missed ones.
    """
    found = []
    for name, lag in lags(at).items():
        if lag is None:
            found.append(Late(name, None))
        elif abs(lag) > MISSED * EVERY[name].total_seconds():
            found.append(Late(name, at - dt.timedelta(seconds=lag)))
    return found
