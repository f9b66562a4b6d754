"""Shapes: what a JSON object may say, declared once as a frozen dataclass.

An annotation names the type of a field (``takeoffs: Count = 0``). From these one reader follows, which finds
every error with its place, one writer, and the JSON Schema of the API's description. A field without a
default is required. Null says the same as leaving an optional key out.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from types import NoneType, UnionType
from typing import Annotated, Any, ClassVar, TypeVar, Union, get_args, get_origin, get_type_hints

from syllabus.engine import effort
from syllabus.engine.record import reading
from syllabus.engine.record.json_schema import Schema, listed, obj, or_null, ref
from syllabus.engine.record.plain import Plain, Remembered, compiled
from syllabus.engine.record.reading import Errors, Read

#: Keys that Python keeps for itself, by the name of their field.
_RESERVED = {"klass": "class", "in_": "in"}


def itself(value: Any) -> Any:
    return value


@dataclass(frozen=True, slots=True, eq=False)
class Type:
    """How a kind of value is read, described and written.

    ``component`` is its name in the API's description, and ``uses`` are the named types that it refers to.
    """

    read: Read
    schema: Schema
    write: Callable[[Any], Any] = itself
    component: str = ""
    uses: tuple[AnyType, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class ListType:
    """A list of values of one type, of at most ``most``."""

    of: Type | Shape
    most: int
    component: ClassVar[str] = ""

    @property
    def read(self) -> Read:
        if isinstance(self.of, Shape) and not self.of.shared:
            return reading.list_of(self.of.read_with_places, most=self.most, plain=self.of.plain)
        return Remembered(reading.list_of(self.of.read, most=self.most))

    @property
    def uses(self) -> tuple[AnyType, ...]:
        return (self.of,)

    @property
    def schema(self) -> Schema:
        return listed(described(self.of), self.most)

    def write(self, values: Iterable[Any]) -> list[Any]:
        return [self.of.write(each) for each in values]


@dataclass(frozen=True, slots=True)
class Most:
    """How many entries a list may have."""

    number: int


@dataclass(frozen=True, slots=True)
class Says:
    """What a flag says in a few words where it is so, and where it is not."""

    yes: str
    no: str


@dataclass(frozen=True, slots=True)
class Field:
    """One key of an object, and the field it becomes."""

    key: str
    name: str
    type: AnyType
    required: bool
    default: Any
    description: str
    says: Says | None = None

    @property
    def schema(self) -> Schema:
        """What the key may hold; null where it may be left out."""
        return self.value if self.required else or_null(self.value)

    @property
    def value(self) -> Schema:
        """What the key holds where it says something. A type that has a name describes itself."""
        if self.type.component or not self.description:
            return described(self.type)
        return {**self.type.schema, "description": self.description}


class Keys:
    """The keys of an object, each with the field it becomes, its reader, and whether it is required."""

    def __init__(self, rows: Iterable[tuple[str, str, Read, bool]]):
        self._rows = tuple(rows)
        self._known = [key for key, *_ in self._rows]
        self._of_key = {key: (name, read) for key, name, read, _ in self._rows}

    def read(self, errors: Errors, value: Any, place: str, found: dict[str, Any]) -> bool:
        """Put into ``found`` what the object says. False where it is no object."""
        ok = isinstance(value, Mapping)
        if not ok:
            errors.expected("an object", value, place)
            value = {}
        start = f"{place}." if place else ""
        for key, name, read, required in self._rows:
            raw = value.get(key)
            if raw is not None or (required and key in value):
                if (each := read(errors, raw, start + key)) is not None:
                    found[name] = each
            elif required and ok:
                errors.add(start + key, "missing")
        reading.unknown(errors, [key for key in value if key not in self._of_key], self._known, place)
        return ok


class Shape:
    """What one dataclass reads and writes.

    A class may have a method ``contradictions(said)``: pairs of a key and a message for what its fields say
    against each other, where ``said`` is the object as it was given.
    """

    def __init__(self, made: type, component: str, description: str, shared: bool):
        self.made, self.component, self.description, self.shared = made, component, description, shared
        hints = get_type_hints(made, include_extras=True)
        self.fields = tuple(_field(each, hints[each.name]) for each in dataclasses.fields(made))
        self.read: Read = Remembered(self._read) if shared else self._read
        rows = [(each.key, each.name, each.type.read, each.required) for each in self.fields]
        self._keys = Keys(rows)
        self._bind = compiled(
            made,
            [(*row, each.default) for row, each in zip(rows, self.fields, strict=True)],
        )
        self._defaults = {field.name: field.default for field in self.fields}
        self._writers = [(each.key, each.name, each.type.write, each.default) for each in self.fields]
        self._contradictions = getattr(made, "contradictions", None)

    def plain(self, errors: Errors) -> Plain:
        """The reader of ordinary objects of this shape in one document."""
        if (found := errors.plain.get(self)) is None:
            found = errors.plain[self] = self._bind(errors)
        return found

    def _read(self, errors: Errors, value: Any, place: str) -> Any:
        """The object; where it has errors, its other fields, so that theirs are found too."""
        if (made := self.plain(errors)(value)) is not None:
            return made
        return self.read_with_places(errors, value, place)

    def read_with_places(self, errors: Errors, value: Any, place: str) -> Any:
        """``read`` of an object that has errors or may have them."""
        effort.check()
        found = self._defaults.copy()
        ok = self._keys.read(errors, value, place, found)
        if "id" in found and found["id"] is None:
            found["id"] = place
        made = self.made(**found)
        if ok and self._contradictions is not None:
            for key, message in self._contradictions(made, value):
                errors.add(reading.at(place, key), message)
        return made

    def write(self, made: Any) -> dict[str, Any]:
        """Only what says something: an absent key already means none or unknown. A number is always said."""
        said: dict[str, Any] = {}
        for key, name, write, default in self._writers:
            value = getattr(made, name)
            if value is None or value == "" or (value == default and value.__class__ is not int):
                continue
            if (written := write(value)) is not None:
                said[key] = written
        return said

    @property
    def uses(self) -> tuple[AnyType, ...]:
        return tuple(field.type for field in self.fields)

    @property
    def schema(self) -> Schema:
        more = {"description": self.description} if self.description else {}
        return obj(self.properties(), [field.key for field in self.fields if field.required], **more)

    def properties(self) -> dict[str, Schema]:
        """The schema of each key."""
        return {field.key: field.schema for field in self.fields}


AnyType = Type | ListType | Shape
Made = TypeVar("Made", bound=type)
_shapes: dict[type, Shape] = {}


def shape(component: str = "", description: str = "", *, shared: bool = False) -> Callable[[Made], Made]:
    """Declare a dataclass as a shape.

    A ``shared`` one says the same wherever it stands, so equal objects of one document are read once.
    """

    def declare(made: Made) -> Made:
        _shapes[made] = Shape(made, component, description, shared)
        return made

    return declare


def shape_of(made: type) -> Shape:
    return _shapes[made]


def described(of: AnyType) -> Schema:
    """The schema of a type, or where the API's description has it by name, a reference to it."""
    return ref(of.component) if of.component else of.schema


def components(of: AnyType) -> dict[str, Schema]:
    """The schemas of this type and of all that it refers to, by their names in the API's description."""
    made: dict[str, Schema] = {of.component: of.schema} if of.component else {}
    for each in of.uses:
        made |= components(each)
    return made


def _field(declared: dataclasses.Field, hint: Any) -> Field:
    default = declared.default
    if declared.default_factory is not dataclasses.MISSING:
        default = declared.default_factory()
    absent = default is dataclasses.MISSING
    type_, description = _resolved(hint)
    return Field(
        key=_RESERVED.get(declared.name, declared.name),
        name=declared.name,
        type=type_,
        required=absent and declared.name != "id",  # an entry without an id goes by its place
        default=None if absent else default,
        description=description,
        says=next((each for each in get_args(hint) if isinstance(each, Says)), None),
    )


def _resolved(hint: Any) -> tuple[AnyType, str]:
    """The type that an annotation names, and what it says about the field."""
    origin, arguments = get_origin(hint), get_args(hint)
    if origin is Annotated:
        inner, *said = arguments
        description = next((each for each in said if isinstance(each, str)), "")
        for each in said:
            if isinstance(each, Type):
                return each, description
            if isinstance(each, Most):
                of, _ = _resolved(get_args(inner)[0])
                assert not isinstance(of, ListType), "a list of lists is declared nowhere"
                return ListType(of, each.number), description
        return _resolved(inner)[0], description
    if origin in (Union, UnionType):
        (inner,) = (each for each in arguments if each is not NoneType)
        return _resolved(inner)
    return _shapes[hint], ""
