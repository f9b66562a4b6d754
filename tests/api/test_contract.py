"""Calls made from the description itself: what it allows, and what it forbids.

Three calls of each operation, a dozen in a full run. What the description cannot say in JSON Schema (dual and
solo exclude each other, an airport must be known) is refused although it fits, so acceptance is not among the
checks.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from django.core.cache import cache
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from knox.models import AuthToken
from schemathesis import GenerationMode

from syllabus.courses import files, outlines
from tests.support.cast import Cast
from tests.support.extent import count
from tests.support.rows import over_rows
from tests.support.services_plugin import LEG
from tests.support.workflows import CHECKS
from tests.syllabus.courses.test_course_versions import SMALL
from training.config.wsgi import application

COURSE = {"course": "small@lakeside", "number": 1}
#: What an administrator alone may do.
ADMINISTERED = {"writeCourse", "publishCourse", "listFindings", "runAudit"}


def operations() -> list[Any]:
    schema = schemathesis.openapi.from_wsgi("/api/v1/schema/", application)
    # A body that is drawn with more than 8 MB is refused for its size, before anything else in it.
    schema.config.checks.negative_data_rejection.expected_statuses.append("413")
    return [each.ok() for each in schema.get_all_operations()]


@pytest.fixture
def connection_kept() -> Iterator[None]:
    """A request's end closes a connection that is old; here it holds the test's own transaction."""
    request_started.disconnect(close_old_connections)
    request_finished.disconnect(close_old_connections)
    yield
    request_started.connect(close_old_connections)
    request_finished.connect(close_old_connections)


@pytest.fixture
def course_kept(db: None) -> None:
    outlines.save(files.read(SMALL, "small"), "lakeside")


@pytest.mark.usefixtures("connection_kept", "course_kept")
@over_rows("called", operations, ids=lambda each: each.definition.raw["operationId"], undo=True)
def test_answers_are_as_described(called: Any, people: Cast) -> None:
    operation = called.definition.raw["operationId"]

    @settings(
        # To make up a whole course takes long; ways through the API write more of them. On SQLite one call
        # of each is a sample enough.
        max_examples=count(1, 4) if operation == "writeCourse" or LEG == "sqlite" else count(2, 12),
        deadline=None,
        phases=[Phase.explicit, Phase.generate, Phase.shrink],
        suppress_health_check=list(HealthCheck),
    )
    @given(data=st.data())
    def as_described(data: st.DataObject) -> None:
        mode = data.draw(st.sampled_from([GenerationMode.POSITIVE, GenerationMode.NEGATIVE]))
        case = data.draw(called.as_strategy(generation_mode=mode))
        real = data.draw(st.booleans(), label="about a student, a milestone or a course that is there")
        cache.clear()
        _, token = AuthToken.objects.create(user=people.ada if operation in ADMINISTERED else people.ida)
        if real:
            found = {"ref": str(people.sam.ref), "milestone": "faa.solo-cross-country", **COURSE}
            known = found.keys() & case.path_parameters.keys()
            case.path_parameters.update({key: found[key] for key in known})
            if operation in ("replaceRecord", "writeCourse"):
                case.headers["If-Match"] = "*"
        case.call_and_validate(headers={"Authorization": f"Token {token}"}, checks=CHECKS)

    as_described()
