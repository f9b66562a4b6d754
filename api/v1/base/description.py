"""The API's OpenAPI description, generated from the code.

``describe`` and the docstring of a view's method say what it takes, returns and refuses; ``Description``
writes that as an OpenAPI operation. Its schemas are those of the serializers that read and write.
"""

import copy
import functools
import inspect
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar, cast

from django.http.response import HttpResponseBase
from django.utils.translation import get_language
from drf_spectacular.extensions import OpenApiAuthenticationExtension, OpenApiSerializerExtension
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.plumbing import ResolvedComponent
from rest_framework.response import Response

from api.v1.base import links
from api.v1.base.errors import MEDIA_TYPE
from api.v1.base.field_types import DAY, INSTANT, MILESTONE, STRING
from api.v1.base.reports import ProblemSerializer
from api.v1.base.serializers import ResponseSerializer, Several
from syllabus.engine.record import reading, shapes
from syllabus.engine.record.json_schema import listed, obj, or_null
from syllabus.engine.record.reading import Read
from syllabus.engine.record.shapes import AnyType, Type

Schema = dict[str, Any]
Shape = type[ResponseSerializer] | Type
Method = TypeVar("Method", bound=Callable[..., Any])

#: What each refusal means in this API.
REFUSALS: Mapping[int, str] = {
    400: "Bad request: the body is not JSON, a key is repeated, or a number is NaN.",
    401: "Not signed in, or the token is unknown or has expired.",
    403: "Signed in, but not allowed.",
    404: "Not found, or no access.",
    406: "The Accept header names no available type; application/json is always available.",
    409: "Conflict with the current state.",
    411: "The body was sent in chunks. Send it with its Content-Length.",
    412: "The record has changed since the ETag in If-Match. Read it again, then send your change again.",
    413: "The body is larger than 8 MB.",
    415: "The body is not sent as application/json, or is compressed.",
    422: (
        "Validation errors; `errors` has the place of each. Of the type /problems/not-covered: the rules do"
        " not cover the question, so there is no answer."
    ),
    428: "If-Match is missing; send the ETag of the record that your change starts from.",
    429: "Too many calls; Retry-After says how many seconds to wait.",
    500: "Internal error; it has been logged.",
    503: (
        "The records cannot be reached right now. Retry-After says when to send the request "
        "again. Without it, this server cannot do it as configured, or its operator has to "
        "act first."
    ),
}


@dataclass(frozen=True)
class Header:
    """A response header."""

    name: str
    description: str

    def as_openapi(self) -> Schema:
        return {"description": self.description, "schema": {"type": "string"}, "required": True}


@dataclass(frozen=True)
class Answer:
    """A successful response; None means no body. ``also`` has further media types with their shapes."""

    shape: Shape | None
    description: str
    headers: Sequence[Header] = ()
    also: Mapping[str, Shape] = field(default_factory=dict)
    status: int = 200

    def as_openapi(self, ref: Callable[[Shape], Schema]) -> Schema:
        made: Schema = {"description": self.description}
        if self.headers:
            made["headers"] = {each.name: each.as_openapi() for each in self.headers}
        if self.shape:
            shapes = {"application/json": self.shape, **self.also}
            made["content"] = {media: {"schema": ref(shape)} for media, shape in shapes.items()}
        return made


@dataclass(frozen=True)
class Parameter:
    """A parameter of the path, the query or the header."""

    name: str
    where: str
    description: str
    schema: Schema
    required: bool = False
    read: Read = reading.text

    def as_openapi(self) -> Schema:
        return {
            "name": self.name,
            "in": self.where,
            "description": self.description,
            "required": self.required,
            "schema": self.schema,
        }

    @classmethod
    def asked(
        cls, name: str, description: str, type: AnyType = STRING, *, required: bool = False
    ) -> "Parameter":
        """A query parameter."""
        return cls(name, "query", description, type.schema, required, type.read)

    @classmethod
    def on(cls, what: str) -> "Parameter":
        return cls.asked("on", f"A day: {what}.", DAY)


#: The page of a list.
CURSOR = Parameter.asked("cursor", "From `next` or `previous` of a page.")
#: Optional for an administrator of only one school.
SCHOOL = Parameter.asked("school", "The school's short name; optional for an administrator of one school.")
KNOWN_AT = Parameter.asked("known_at", "Ignore what was recorded after this time.", INSTANT)
#: Path parameters that say more than their converter does.
_OF_PATHS = {
    "course": Parameter(
        "course",
        "path",
        "The course's code; for a school's own course with the school's short name:"
        " `private-airplane@lakeside`.",
        {"type": "string", "examples": ["private-airplane"]},
        True,
    ),
    "milestone": Parameter(
        "milestone",
        "path",
        "The milestone's id.",
        {"type": "string", "examples": MILESTONE.schema["examples"]},
        True,
    ),
    "number": Parameter(
        "number", "path", "The version, counted from 1.", {"type": "integer", "minimum": 1}, True
    ),
}
_CONVERTERS: Mapping[str, Schema] = {
    "int": {"type": "integer", "minimum": 0},
    "slug": {"type": "string"},
    "uuid": {"type": "string", "format": "uuid"},
}
_IN_PATH = re.compile(r"([\w-]+)/<(\w+):(\w+)>")


def _of_path(route: str) -> list[Parameter]:
    """The parameters in a route, such as ``students/<uuid:ref>``."""
    return [
        _OF_PATHS.get(name) or Parameter(name, "path", _called(name, noun), _CONVERTERS[converter], True)
        for noun, converter, name in _IN_PATH.findall(route)
    ]


def _called(name: str, noun: str) -> str:
    one = noun.removesuffix("s").replace("-", " ")
    what = {"ref": f"{one}'s reference", "entry": f"{one}'s id", "school": "school's short name"}
    return "The " + what.get(name, f"{name}'s id") + "."


@dataclass(frozen=True)
class Operation:
    """What a view's method does; ``name`` is the operation's id, unique in the API.

    ``body_also`` has the media types, besides JSON, of the body. ``parameters`` and ``refuses`` are those
    that do not follow from the path, the body and the view.
    """

    name: str
    summary: str
    answers: Sequence[Answer]
    description: str
    refuses: Iterable[int] = ()
    parameters: Sequence[Parameter] = ()
    body: Shape | None = None
    body_also: Sequence[str] = ()

    def response(self, found: Any) -> HttpResponseBase:
        """The view method's return value as one of the responses."""
        if isinstance(found, HttpResponseBase):
            return found
        answer = self.answers[0]
        if isinstance(found, Created):
            found, answer = found.what, next(each for each in self.answers if each.status == 201)
        if answer.shape is None:
            return Response(status=answer.status)
        assert isinstance(answer.shape, type)
        return Response(answer.shape(found).data, status=answer.status)


@dataclass(frozen=True)
class Created:
    """What the call created; the first of the responses is for what existed before."""

    what: Any


def describe(
    name: str, summary: str, *answers: Answer, words: Mapping[str, Any] | None = None, **given: Any
) -> Callable[[Method], Method]:
    """Make a view's method an ``Operation``.

    Its docstring, filled in with ``words``, describes it. What it returns is rendered as the first response,
    unless it is a ``Created`` or a response already.
    """

    def attach(method: Method) -> Method:
        says = " ".join((method.__doc__ or "").split())
        told = Operation(name, summary, answers, says % words if words else says, **given)

        @functools.wraps(method)
        def answered(view: Any, request: Any, **named: Any) -> HttpResponseBase:
            return told.response(method(view, **named))

        answered.described = told  # type: ignore[attr-defined]
        return cast(Method, answered)

    return attach


_MADE: dict[tuple[str | None, bool], Schema] = {}


class Generator(SchemaGenerator):
    """Makes the description once for each language; it does not depend on the caller."""

    def get_schema(self, request: Any = None, public: bool = False) -> Schema:
        which = get_language(), public
        if which not in _MADE:
            _MADE[which] = super().get_schema(request, public)
        return _MADE[which]


class Description(AutoSchema):
    """Writes a view's methods as OpenAPI operations."""

    def get_operation(
        self, path: str, path_regex: str, path_prefix: str, method: str, registry: Any
    ) -> Schema | None:
        self.registry, self.path, self.path_regex = registry, path, path_regex
        self.path_prefix, self.method = path_prefix, method.upper()
        told: Operation = getattr(self.view, method.lower()).described
        responses = {str(answer.status): answer.as_openapi(self.ref) for answer in told.answers}
        for answer in told.answers:
            if next_ones := links.of(told.name, answer.status):
                responses[str(answer.status)]["links"] = next_ones
        asked: Sequence[Parameter] = getattr(self.view, "query", ()) if method == "GET" else ()
        parameters, security = [*_of_path(path_regex), *asked, *told.parameters], self.get_auth()
        refuses = {*told.refuses, 406, 422, 500, 503}
        refuses |= {404} if "{" in path else set()
        refuses |= {400, 411, 413, 415} if told.body else set()
        refuses |= {401} if self.view.authentication_classes else set()
        refuses |= {429} if self.view.throttle_classes else set()
        for status in sorted(refuses):
            responses[str(status)] = _refusal(status, self.ref(ProblemSerializer))
        made: Schema = {
            "operationId": told.name,
            "summary": told.summary,
            "description": told.description,
            "tags": [path.removeprefix("/api/v1/").split("/")[0]],
            "responses": responses,
        }
        if parameters:
            made["parameters"] = [each.as_openapi() for each in parameters]
        if told.body:
            made["requestBody"] = {
                "required": True,
                "content": {
                    media: {"schema": self.ref(told.body)} for media in ("application/json", *told.body_also)
                },
            }
        if security:
            made["security"] = security
        return made

    def ref(self, shape: Shape) -> Schema:
        if isinstance(shape, Type):
            return self.described(shape)
        return self.resolve_serializer(shape, "response").ref

    def described(self, type: AnyType) -> Schema:
        """A type of the engine; adds what it refers to to the components."""
        for name, schema in shapes.components(type).items():
            self.registry.register_on_missing(_component(name, schema))
        return shapes.described(type)

    def schema_of(self, field: Any) -> Schema:
        """The schema of a serializer's field."""
        if isinstance(field, Several):
            made = listed(self.ref(type(field.child)), field.max_length)
            if field.min_length:
                made["minItems"] = field.min_length
        elif isinstance(field, ResponseSerializer):
            made = self.ref(type(field))
        else:
            made = self.described(field.type)
        anything = not made.keys() - {"description"}
        if not anything and (field.allow_null or (field.parent.optional_may_be_null and not field.required)):
            made = or_null(made)
        return {**made, "description": str(field.help_text)} if field.help_text else made


class ShapeDescription(OpenApiSerializerExtension):  # type: ignore[no-untyped-call]
    """A serializer as a component: closed, described by its docstring."""

    target_class = ResponseSerializer
    match_subclasses = True

    def map_serializer(self, auto_schema: Any, direction: Any) -> Schema:
        shape = self.target
        fields = shape.fields
        made = obj(
            {key: auto_schema.schema_of(each) for key, each in fields.items()},
            [key for key, each in fields.items() if each.required],
            **shape.more_schema,
        )
        made = copy.deepcopy(made)  # types are shared, and the generator changes what it gets
        if shape.__doc__:
            made["description"] = inspect.cleandoc(shape.__doc__)
        return {**made, "examples": [shape.example()]} if hasattr(shape, "example") else made


def _component(name: str, schema: Schema) -> ResolvedComponent:
    own = copy.deepcopy(schema)
    return ResolvedComponent(name=name, type=ResolvedComponent.SCHEMA, schema=own, object=name)


def _refusal(status: int, problem: Schema) -> Schema:
    made: Schema = {
        "description": REFUSALS[status],
        "content": {MEDIA_TYPE: {"schema": problem}},
    }
    if status == 429:
        made["headers"] = {"Retry-After": Header("Retry-After", "Seconds to wait").as_openapi()}
    if status == 401:
        made["headers"] = {"WWW-Authenticate": Header("WWW-Authenticate", "How to sign in").as_openapi()}
    return made


class TokenScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """How to send a token."""

    target_class = "api.v1.base.authentication.TokenAuthentication"
    name = "token"

    def get_security_definition(self, auto_schema: AutoSchema) -> Schema:
        return {
            "type": "apiKey",
            "in": "header",
            "name": "Authorization",
            "description": "A token of auth/login, as `Token 0123…`. It expires; auth/logout ends it.",
        }
