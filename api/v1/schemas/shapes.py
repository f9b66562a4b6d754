"""Small shapes that the larger ones are made of."""

from __future__ import annotations

from typing import Any

from syllabus.engine import record_types
from syllabus.engine.json_schema import STRING, Schema, listed, obj, optional, or_null, ref, word

__all__ = [
    "COUNT",
    "DAY",
    "FLAG",
    "HOLDS",
    "INSTANT",
    "NAME",
    "STRING",
    "TEXT",
    "Schema",
    "full",
    "listed",
    "obj",
    "optional",
    "or_null",
    "ref",
    "word",
]


def full(properties: dict[str, Schema], **more: Any) -> Schema:
    """An object that always has all of these keys, as an answer has."""
    return obj(properties, properties, **more)


TEXT, NAME, FLAG, COUNT, DAY, INSTANT = (
    record_types.TEXT.schema,
    record_types.NAME.schema,
    record_types.FLAG.schema,
    record_types.COUNT.schema,
    record_types.DAY.schema,
    record_types.INSTANT.schema,
)
HOLDS: Schema = {
    "type": "array",
    "description": "Spans of days, first and last, both included; null is open.",
    "items": {
        "type": "array",
        "prefixItems": [or_null({"type": "string", "format": "date"})] * 2,
        "items": False,
        "minItems": 2,
        "maxItems": 2,
    },
}
