"""Findings of an audit for the tests."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from syllabus.engine.places import geography
from tests.support.cast import Cast
from training.models import Finding, Role

AT = dt.datetime(2026, 3, 3, 18, tzinfo=dt.UTC)


def stands(people: Cast, ref: uuid.UUID | None = None, **given: Any) -> Finding:
    """A finding about Sam, as an audit keeps it."""
    body = {
        "day": "2026-03-02",
        "entries": [{"student": str(people.sam.ref), "id": "f1"}],
        "says": "The flight of 2026-03-02 does not say: the total time.",
        "citations": ["14 CFR 61.51(b)"],
        "verified": "read",
        "mend": "correction",
        "way": "Correct the entry and add what is missing.",
        "unmet": [],
        "known": None,
    }
    return Finding.objects.create(
        **{
            "school": people.school,
            "student": people.sam,
            "ref": ref or uuid.uuid4(),
            "key": uuid.uuid4().hex,
            "kind": "entry-incomplete",
            "severity": "incomplete",
            "day": dt.date(2026, 3, 2),
            "digest": "d" * 64,
            "body": body,
            "first_seen": AT,
            "last_seen": AT,
            **given,
        }
    )


def idas_role(people: Cast) -> int:
    """The number of Ida's role as an instructor."""
    return Role.objects.get(user=people.ida, school=people.school, role=Role.Kind.INSTRUCTOR).pk


def route(*names: str) -> tuple[geography.Place, ...]:
    """A route by identifiers of airports."""
    return tuple(geography.airports().find(name) for name in names)
