"""What every shape of the API is built on: a serializer that reads strictly, writes and describes itself.

A field has one of the engine's types (``syllabus.engine.record.types``), which say how a value is read,
written and described. The API's description is made from these classes: a docstring describes the component,
and the second argument of a field its key.
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
    """A value of one of the engine's types. ``says`` describes it, ``of`` works it out from an object."""

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
        """As JSON has it; a text or an object is written already."""
        return value if isinstance(value, str | dict) else self.type.write(value)


class Several(serializers.ListSerializer):
    """A list of objects of one shape."""

    child: Any
    max_length: int | None
    min_length: int | None

    def read(self, faults: Errors, value: Any, place: str) -> Any:
        return reading.list_of(self.child.read, most=self.max_length or 20_000)(faults, value, place)


class ResponseSerializer(serializers.Serializer):
    """What is answered: every key of it, but a field that is not ``required`` only where it says something.

    It is made of a mapping that has the answer's own keys and no others, or of an object's attributes, and
    where there is a method ``find_<key>``, of what that works out from the object.
    """

    #: Keys whose value was stored as JSON, maybe by an older version: it is given as it was kept.
    stored: ClassVar[Sequence[str]] = ()
    #: What an object must hold beyond what its fields say, in JSON Schema.
    more_schema: ClassVar[Schema] = {}
    optional_may_be_null: ClassVar[bool] = False

    class Meta:
        list_serializer_class = Several

    def __init__(
        self, *args: Any, min_length: int | None = None, max_length: int | None = None, **kwargs: Any
    ):
        """``min_length`` and ``max_length`` are of the list, with ``many``."""
        super().__init__(*args, **kwargs)

    def get_fields(self) -> dict[str, Any]:
        """By their keys: ``klass`` is "class", and a name that is taken in Python ends with an underscore."""
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
    """What is sent. An unknown key is an error; null says the same as leaving an optional key out."""

    #: What is raised with every error, each at its place.
    error: ClassVar[type[InputError]] = QuestionError
    optional_may_be_null = True

    @classmethod
    def sent(cls, request: Request) -> dict[str, Any]:
        """What the body of a request says, each field by its source; None where it was left out.

        Raises: ``error``.
        """
        body = cls(data=request.data)
        body.is_valid(raise_exception=True)
        return body.validated_data

    def run_validation(self, data: Any = empty) -> dict[str, Any]:
        faults = Errors()
        found = self.read(faults, data, "")
        faults.stop(self.error)
        assert found is not None
        return found

    def read(self, faults: Errors, value: Any, place: str) -> dict[str, Any] | None:
        fields = Object(faults, value, place)
        if not fields.ok:
            return None
        found = {}
        for key, field in self._rows:
            default = None if field.default is empty else field.default
            found[field.source] = fields.take(key, field.read, default, required=field.required)
        self.check(faults, found, value)
        fields.done()
        return found

    def check(self, faults: Errors, found: dict[str, Any], said: Mapping[str, Any]) -> None:
        """Look at what the fields say together; ``said`` is the object as it was sent."""
