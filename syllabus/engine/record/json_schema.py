"""The pieces of a JSON Schema (2020-12, the dialect of OpenAPI 3.1) that larger ones are made of."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

Schema = dict[str, Any]
STRING: Schema = {"type": "string"}


def ref(name: str) -> Schema:
    return {"$ref": f"#/components/schemas/{name}"}


def obj(properties: dict[str, Schema], required: Iterable[str] = (), **more: Any) -> Schema:
    """An object with these keys and no others."""
    made: Schema = {"type": "object", "properties": properties, "additionalProperties": False, **more}
    if required := list(required):
        made["required"] = required
    return made


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
