"""The types of the API's fields: those of a record document, and a few of the API's own."""

import re
import uuid
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

from django.utils.functional import lazy

from syllabus.engine.record import json_schema, reading
from syllabus.engine.record.json_schema import Schema, listed, obj
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.shapes import Shape, Type, described
from syllabus.engine.record.types import COUNT, DAY, FLAG, INSTANT, NAME, TEXT
from syllabus.engine.rules.rulebook import VERIFIED as MARKS
from syllabus.engine.time.instants import in_utc
from syllabus.law import rulebook

__all__ = ["COUNT", "DAY", "FLAG", "INSTANT", "NAME", "TEXT"]


def as_it_came(errors: Errors, value: Any, place: str) -> Any:
    """Any JSON value, which other code reads."""
    return value


def _own_id(errors: Errors, value: Any, place: str) -> uuid.UUID | None:
    """An id chosen by the caller."""
    try:
        return uuid.UUID(value)
    except (ValueError, TypeError, AttributeError):
        errors.add(place, f"{reading.called(value)} is not a UUID, such as {uuid.UUID(int=1)}")
        return None


def like(type: Type, **keywords: Any) -> Type:
    """The same type with further keywords of JSON Schema."""
    return replace(type, schema={**type.schema, **keywords})


#: The example is made only for a reader of the description: loading the law takes 0.2 s.
MILESTONE = like(NAME, examples=[lazy(lambda: next(iter(rulebook.current().milestones)), str)()])


def short(most: int, blank: str = "", **keywords: Any) -> Type:
    """A text of limited length. ``blank`` is the error for an empty one, if it may not be empty."""

    def read(errors: Errors, value: Any, place: str) -> str | None:
        found = reading.text(errors, value, place)
        if found is not None and len(found) > most:
            errors.add(place, f"{len(found)} characters; at most {most} allowed")
        elif found is not None and blank and not found.strip():
            errors.add(place, f"is blank; {blank}")
        else:
            return found
        return None

    filled = {"minLength": 1, "pattern": r"\S"} if blank else {}
    return Type(read, {"type": "string", "maxLength": most, **filled, **keywords})


def word(words: Iterable[str], what: str = "word", says: str = "") -> Type:
    """One of a closed list of words; messages call them ``what``."""
    return Type(reading.one_of(words := list(words), what), json_schema.word(words, says))


def without(shape: Shape, *keys: str, component: str, **more: Schema) -> Type:
    """An entry of a record document without some of its keys."""
    fields = [each for each in shape.fields if each.key not in keys]
    properties = {each.key: each.schema for each in fields} | more
    required = [each.key for each in fields if each.required]
    uses = tuple(each.type for each in fields)
    return Type(as_it_came, obj(properties, required), component=component, uses=uses)


def matching(form: str, what: str, value_of: Callable[[str], Any] = str) -> reading.Read:
    """A text that a pattern matches; messages call it ``what``."""

    def read(errors: Errors, value: Any, place: str) -> Any:
        if isinstance(value, str) and re.fullmatch(form, value, re.ASCII):
            return value_of(value)
        errors.add(place, f"{reading.called(value)} is not {what}")
        return None

    return read


def content_hash(of: str, **keywords: Any) -> Type:
    """The SHA-256 of the content of a course or a lesson record."""
    form = "sha256:[0-9a-f]{64}"
    schema = {"type": "string", "pattern": f"^{form}$", **keywords}
    return Type(matching(form, f"a content_hash of {of}"), schema)


def pattern(of: re.Pattern[str]) -> Type:
    """A text that a pattern matches as a whole."""
    return Type(reading.text, {"type": "string", "pattern": f"^{of.pattern}$"})


def always(value: str) -> Type:
    return Type(reading.text, {"const": value})


def list_of(type: Type, most: int = 0, **keywords: Any) -> Type:
    """A list of values of a type."""

    def write(values: Iterable[Any]) -> list[Any]:
        return [type.write(each) for each in values]

    read = reading.list_of(type.read, most=most or 20_000)
    return Type(read, {**listed(described(type), most), **keywords}, write, uses=(type,))


def keyed(keys: Iterable[str], type: Type, *, all_of_them: bool = False) -> Type:
    """An object with these keys, each with a value of one type."""
    properties = dict.fromkeys(keys, type.schema)
    return Type(as_it_came, obj(properties, properties if all_of_them else ()))


def open_to(schema: Schema | bool, **keywords: Any) -> Type:
    """An object with any keys."""
    return Type(as_it_came, {"type": "object", "additionalProperties": schema, **keywords})


STRING = Type(reading.text, {"type": "string"}, str)
#: A school's short name in a query string.
SLUG = Type(reading.name, {"type": "string"})
WHOLE = Type(reading.count, {"type": "integer", "minimum": 0})
VERIFIED = word(MARKS, says="How the text was checked: read itself, known from an account, or from memory.")
#: An instant as answers have it, in UTC.
UTC = Type(reading.instant, {"type": "string", "format": "date-time"}, in_utc)
UUID = Type(_own_id, {"type": "string", "format": "uuid"}, str)
