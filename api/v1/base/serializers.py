"""The base of all serializers: they read strictly, write, and describe themselves.

A field has one of the engine's types (``syllabus.engine.record.types``), which say how a value is read,
written and described. The API's description is generated from these classes: a docstring describes the
component, and the second argument of a field its key.
"""

from collections.abc import Callable, Mapping, Sequence
from functools import cached_property
from typing import Any, ClassVar

from rest_framework import serializers
from rest_framework.fields import empty
from rest_framework.request import Request

from syllabus.engine.errors import InputError, QuestionError
from syllabus.engine.record import reading
from syllabus.engine.record.json_schema import Schema
from syllabus.engine.record.reading import Errors, Object
from syllabus.engine.record.shapes import AnyType


class Field(serializers.Field):
    """A value of one of the engine's types. ``says`` describes it, ``of`` computes it from an object."""

    def __init__(
        self, type: AnyType, says: str = "", *, of: Callable[[Any], Any] | None = None, **given: Any
    ):
        super().__init__(help_text=says or None, **given)
        self.type, self.read, self.says, self.of, self.given = type, type.read, says, of, given

    def __deepcopy__(self, memo: Any) -> "Field":
        return Field(self.type, self.says, of=self.of, **self.given)

    def get_attribute(self, instance: Any) -> Any:
        return self.of(instance) if self.of else super().get_attribute(instance)

    def to_representation(self, value: Any) -> Any:
        """The JSON value; text and objects are in JSON's form already."""
        return value if isinstance(value, str | dict) else self.type.write(value)


class Several(serializers.ListSerializer):
    """A list of objects of one shape."""

    child: Any
    max_length: int | None
    min_length: int | None

    def read(self, errors: Errors, value: Any, place: str) -> Any:
        return reading.list_of(self.child.read, most=self.max_length or 20_000)(errors, value, place)


class ResponseSerializer(serializers.Serializer):
    """A response. Every key is present, except that one that is not ``required`` is left out without a value.

    It takes a mapping with exactly the response's keys, or an object's attributes; a method ``find_<key>``
    computes a key from the object.
    """

    #: Keys whose value was stored as JSON, perhaps by an older version: it is returned as stored.
    stored: ClassVar[Sequence[str]] = ()
    #: Constraints of an object beyond its fields, in JSON Schema.
    more_schema: ClassVar[Schema] = {}
    optional_may_be_null: ClassVar[bool] = False

    class Meta:
        list_serializer_class = Several

    def __init__(
        self, *args: Any, min_length: int | None = None, max_length: int | None = None, **kwargs: Any
    ):
        """With ``many``, ``min_length`` and ``max_length`` are those of the list."""
        super().__init__(*args, **kwargs)

    def get_fields(self) -> dict[str, Any]:
        """By key: ``klass`` becomes "class", and a trailing underscore is dropped."""
        made = super().get_fields()
        if "klass" in made:
            made["klass"].source = made["klass"].source or "klass"
        return {"class" if name == "klass" else name.rstrip("_"): field for name, field in made.items()}

    @cached_property
    def _rows(self) -> list[tuple[str, Any]]:
        return list(self.fields.items())

    def to_representation(self, instance: Any) -> dict[str, Any]:
        said = isinstance(instance, Mapping)
        if said and (unknown := instance.keys() - self.fields.keys()):
            raise LookupError(f"{type(self).__name__} declares no {', '.join(sorted(unknown))}")
        made = {}
        for key, field in self._rows:
            if said and not field.required and key not in instance:
                continue
            worked_out = getattr(self, f"find_{key}", field.get_attribute)
            value = instance[key] if said else worked_out(instance)
            as_it_is = value is None or key in self.stored
            made[key] = value if as_it_is else field.to_representation(value)
        return made


class RequestSerializer(ResponseSerializer):
    """A request. An unknown key is an error; null is the same as leaving an optional key out."""

    #: The exception with every error, each at its place.
    error: ClassVar[type[InputError]] = QuestionError
    optional_may_be_null = True

    @classmethod
    def sent(cls, request: Request) -> dict[str, Any]:
        """The values in the body of a request, each field by its source; None if it was left out.

        Raises: ``error``.
        """
        body = cls(data=request.data)
        body.is_valid(raise_exception=True)
        return body.validated_data

    def run_validation(self, data: Any = empty) -> dict[str, Any]:
        errors = Errors()
        found = self.read(errors, data, "")
        errors.stop(self.error)
        assert found is not None
        return found

    def read(self, errors: Errors, value: Any, place: str) -> dict[str, Any] | None:
        fields = Object(errors, value, place)
        if not fields.ok:
            return None
        found = {}
        for key, field in self._rows:
            default = None if field.default is empty else field.default
            found[field.source] = fields.take(key, field.read, default, required=field.required)
        self.check(errors, found, value)
        fields.done()
        return found

    def check(self, errors: Errors, found: dict[str, Any], said: Mapping[str, Any]) -> None:
        """Check the fields together; ``said`` is the object as sent."""
