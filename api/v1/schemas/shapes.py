"""Small shapes that the larger ones are made of."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from syllabus.engine import reading, units

Schema = dict[str, Any]


def ref(name: str) -> Schema:
    return {"$ref": f"#/components/schemas/{name}"}


def obj(properties: dict[str, Schema], required: Iterable[str] = (), **more: Any) -> Schema:
    """An object with these keys and no others."""
    made: Schema = {"type": "object", "properties": properties, "additionalProperties": False, **more}
    if required := list(required):
        made["required"] = required
    return made


def full(properties: dict[str, Schema], **more: Any) -> Schema:
    """An object that always has all of these keys, as an answer has."""
    return obj(properties, properties, **more)


def listed(items: Schema, most: int | None = None) -> Schema:
    return {"type": "array", "items": items, **({"maxItems": most} if most else {})}


def or_null(schema: Schema) -> Schema:
    """The same, or null."""
    if "enum" in schema and isinstance(schema.get("type"), str):
        return {**schema, "type": [schema["type"], "null"], "enum": [*schema["enum"], None]}
    if isinstance(schema.get("type"), str):
        return {**schema, "type": [schema["type"], "null"]}
    return {"anyOf": [schema, {"type": "null"}]}


def optional(properties: dict[str, Schema]) -> dict[str, Schema]:
    """Keys that may be left out; null says the same as leaving them out."""
    return {key: or_null(schema) for key, schema in properties.items()}


def word(values: Iterable[str], description: str = "") -> Schema:
    made: Schema = {"type": "string", "enum": list(values)}
    return {**made, "description": description} if description else made


STRING: Schema = {"type": "string"}
TEXT: Schema = {"type": "string", "maxLength": reading.MOST_TEXT}
NAME: Schema = {"type": "string", "minLength": 1, "maxLength": 200, "pattern": r"\S"}
FLAG: Schema = {"type": "boolean"}
COUNT: Schema = {"type": "integer", "minimum": 0, "maximum": reading.MOST_COUNT}
KIND: Schema = {"type": "string", "maxLength": 100, "pattern": "^[a-z0-9]+([-:_][a-z0-9]+)*$"}
DAY: Schema = {"type": "string", "format": "date", "examples": ["2026-11-20"]}
INSTANT: Schema = {"type": "string", "format": "date-time", "examples": ["2026-03-02T19:40:00-06:00"]}

_units = "|".join(
    re.escape(name) for name, unit in units.SPELLINGS.items() if unit in units.DIMENSIONS[units.TIME][0]
)
TIME: Schema = {
    "description": (
        "A time: a number of hours, or text with a unit ('1.4 h', '84 min') or as hours and minutes "
        "('1:24'). "
        f"At most {units.MOST_DECIMALS} decimals."
    ),
    "anyOf": [
        {"type": "number", "minimum": 0, "maximum": 10**units.MOST_DIGITS - 1},
        {
            "type": "string",
            "pattern": (
                rf"^\s*([0-9]{{1,5}}:[0-5][0-9]|[0-9]{{1,{units.MOST_DIGITS}}}"
                rf"(\.[0-9]{{1,{units.MOST_DECIMALS}}})?\s*({_units})?)\s*$"
            ),
        },
    ],
    "examples": ["1.4 h", "84 min", "1:24", 1.4],
}
DEGREES: Schema = {
    "description": "Degrees on WGS 84, north and east positive.",
    "anyOf": [{"type": "number", "minimum": -360, "maximum": 360}, {"type": "string", "pattern": "[0-9]"}],
}
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
