"""Metrics of the work itself for an operator's monitoring, queried from the database on request.

A module adds its own::

    @figure("reminders", "Reminders by state.", label="state")
    def _by_state(at: dt.datetime) -> dict[str, float]:
        return {"due": ..., "sent": ..., "failed": ...}

A label has few values, and none identifies a person: a state, a school's number.
"""

import datetime as dt
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from django.conf import settings
from django.db.models import Count, Q

from training import database
from training.ledger.models import Head
from training.models import Delivery, NightlyAudit, Stale
from training.services.operations import heartbeats
from training.services.reminders import failures

Read = Callable[[dt.datetime], float | Mapping[str, float]]


@dataclass(frozen=True, slots=True)
class Figure:
    """A gauge: ``read`` returns one number, or with a ``label`` one for each of its values."""

    name: str
    help: str
    label: str
    read: Read


#: Every metric by name.
FIGURES: dict[str, Figure] = {}


def figure(name: str, help: str, *, label: str = "") -> Callable[[Read], Read]:
    """Add a metric; monitoring shows the name after ``training_``.

    Raises: ValueError for a name that exists or is invalid.
    """
    for word in (name, label) if label else (name,):
        if not re.fullmatch(r"[a-z][a-z0-9_]*", word):
            raise ValueError(f"{word!r} is not a metric name: lowercase letters, digits and underscores")
    if name in FIGURES:
        raise ValueError(f"there is a figure {name} already")

    def add(read: Read) -> Read:
        FIGURES[name] = Figure(name, help, label, read)
        return read

    return add


@figure("heartbeat_lag_seconds", "Seconds since each background job was last done.", label="work")
def _heartbeat_lag(at: dt.datetime) -> dict[str, float]:
    return {name: lag for name, lag in heartbeats.lags(at).items() if lag is not None}


@figure("clock_difference_seconds", "This process's clock less the database's.")
def _clock_difference(at: dt.datetime) -> float:
    return (at - database.now()).total_seconds()


@figure("ledger_entries", "Entries in each school's ledger.", label="school")
def _ledger_entries(at: dt.datetime) -> dict[str, float]:
    heads = Head.objects.values_list("tree", "size")
    return {tree.removeprefix("school-"): float(size) for tree, size in heads}


@figure("deliveries", "E-mails by state; due: their time has come and they are not sent yet.", label="state")
def _deliveries(at: dt.datetime) -> dict[str, float]:
    state = Delivery.State
    asked = {str(each): Count("pk", filter=Q(state=each)) for each in state if each != state.PENDING}
    asked["later"] = Count("pk", filter=Q(state=state.PENDING, send_after__gt=at))
    asked["due"] = Count("pk", filter=Q(state=state.PENDING, send_after__lte=at))
    return {name: float(number) for name, number in Delivery.objects.aggregate(**asked).items()}


@figure("deliveries_oldest_seconds", "Seconds for which the oldest e-mail that is due has waited.")
def _oldest_delivery(at: dt.datetime) -> float:
    return float(failures.queue(at).oldest_seconds)


@figure("mail_server", "1 where a mail server is set, 0 where no e-mail can be sent.")
def _mail_server(at: dt.datetime) -> float:
    return float(not settings.MAIL_REFUSED)


@figure(
    "records",
    "Records that wait for a new summary, and those dead-lettered after several tries.",
    label="state",
)
def _records(at: dt.datetime) -> dict[str, float]:
    parked = Count("pk", filter=Q(parked_at__isnull=False))
    waiting = Count("pk", filter=Q(parked_at__isnull=True))
    found = Stale.objects.aggregate(waiting=waiting, given_up=parked)
    return {name: float(number) for name, number in found.items()}


@figure("nightly_audits", "Schools by how their last nightly audit went.", label="state")
def _nightly_audits(at: dt.datetime) -> dict[str, float]:
    found = NightlyAudit.objects.aggregate(
        audited=Count("pk", filter=Q(done=True)), failed=Count("pk", filter=Q(done=False) & ~Q(fault=""))
    )
    return {name: float(number) for name, number in found.items()}
