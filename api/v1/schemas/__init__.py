"""The components of the API's description: JSON Schema 2020-12, the dialect of OpenAPI 3.1.

They describe; the engine's own reader decides. The tests hold the two together: whatever the reader can write
fits the schema, and every example is read.
"""

from __future__ import annotations

import json
from functools import cache
from typing import Any

from api.v1.schemas import (
    aircraft,
    answers,
    audit,
    courses,
    endorsements,
    examples,
    handover,
    ledger,
    lesson_records,
    people,
    progress,
    record,
    reminders,
    report,
    schools,
    search,
)
from api.v1.schemas.report import CONTEXT_IN_A_QUERY, CONTEXT_WORDS
from api.v1.schemas.shapes import DAY, INSTANT, ref

Schema = dict[str, Any]


@cache
def _components() -> str:
    written = record.components()
    made = {
        **written,
        **report.components(),
        **answers.components(),
        **aircraft.components(),
        **audit.components(),
        **courses.components(),
        **endorsements.components(written),
        **handover.components(),
        **ledger.components(),
        **lesson_records.components(written),
        **people.components(),
        **progress.components(),
        **schools.components(),
        **search.components(),
        **reminders.components(),
    }
    for name, shown in examples.examples().items():
        made[name] = {**made[name], "examples": [shown]}
    return json.dumps(made)


def components() -> dict[str, Schema]:
    """Every named component, the caller's own copy: the generator that gets them writes into them."""
    made: dict[str, Schema] = json.loads(_components())
    return made


__all__ = ["CONTEXT_IN_A_QUERY", "CONTEXT_WORDS", "DAY", "INSTANT", "components", "ref"]
