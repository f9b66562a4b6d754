"""The training record document, form training-record/1, as the engine declares it."""

from __future__ import annotations

from api.v1.schemas.confirmation import CONFIRMATION, EITHER
from api.v1.schemas.shapes import Schema, obj, word
from syllabus.engine import shapes
from syllabus.engine.record import FORMAT, Record

REASON: Schema = {"type": "string", "minLength": 1, "maxLength": 2000, "pattern": r"\S"}


def components() -> dict[str, Schema]:
    record = shapes.shape_of(Record)
    document = {"format": word([FORMAT]), **record.properties()}
    return {
        **shapes.components(record),
        "TrainingRecord": obj(
            document,
            ["format"],
            description=(
                "One student's whole training record. A key that is left out means none, zero or not "
                "known; an "
                "unknown key is refused by name. Ids are unique within a list."
            ),
        ),
        "RecordToReplace": obj(
            {
                **document,
                "reason": {
                    **REASON,
                    "description": "Why the record is changed. It is sealed, and told to the student.",
                },
                **CONFIRMATION,
            },
            ["format", "reason"],
            description="A record document, with who confirms it and why beside what it says.",
            anyOf=EITHER,
        ),
    }
