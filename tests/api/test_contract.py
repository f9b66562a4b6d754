"""Calls made from the description itself: what it allows, and what it forbids.

Some three hundred calls in a run. What the description cannot say in JSON Schema (dual and solo exclude each
other, an airport must be known) is refused although it fits, so acceptance is not among the checks.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
import schemathesis
from django.core.cache import cache
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from knox.models import AuthToken
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    negative_data_rejection,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from tests.cast import Cast
from training.config.wsgi import application

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    negative_data_rejection,
]


schema = schemathesis.openapi.from_wsgi("/api/v1/schema/", application)


OPERATIONS = {
    each.ok().definition.raw["operationId"]: each.ok()  # type: ignore[attr-defined]
    for each in schema.get_all_operations()
}


@pytest.fixture
def connection_kept() -> Iterator[None]:
    """A request's end closes a connection that is old; here it holds the test's own transaction."""
    request_started.disconnect(close_old_connections)
    request_finished.disconnect(close_old_connections)
    yield
    request_started.connect(close_old_connections)
    request_finished.connect(close_old_connections)


@pytest.mark.usefixtures("connection_kept")
@pytest.mark.parametrize("operation", OPERATIONS)
@settings(
    max_examples=28,
    deadline=None,
    phases=[Phase.explicit, Phase.generate, Phase.shrink],
    suppress_health_check=list(HealthCheck),
)
@given(data=st.data())
def test_answers_are_as_described(operation: str, data: st.DataObject, people: Cast) -> None:
    mode = data.draw(st.sampled_from([GenerationMode.POSITIVE, GenerationMode.NEGATIVE]))
    case = data.draw(OPERATIONS[operation].as_strategy(generation_mode=mode))
    real = data.draw(st.booleans(), label="about a student and a milestone that are there")
    cache.clear()
    _, token = AuthToken.objects.create(user=people.ida)
    if real:
        found = {"ref": str(people.sam.ref), "milestone": "faa.solo-cross-country"}
        case.path_parameters.update({key: found[key] for key in found.keys() & case.path_parameters.keys()})
        if operation == "replaceRecord":
            case.headers["If-Match"] = "*"
    headers = {"Authorization": f"Token {token}"}
    case.call_and_validate(headers=headers, checks=CHECKS)
