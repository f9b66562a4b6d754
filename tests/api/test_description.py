"""The API's description: valid, complete, and true of what the code reads and answers."""

from __future__ import annotations

import copy
import functools
import json
import re
from typing import Any

import pytest
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.validation import validate_schema
from hypothesis import HealthCheck, given, settings
from jsonschema import Draft202012Validator, FormatChecker
from openapi_spec_validator import OpenAPIV31SpecValidator
from rest_framework.test import APIClient

from api.v1.base import examples
from syllabus.engine.record import document
from syllabus.law import rulebook
from tests.api.conftest import Clients
from tests.api.test_roles import ROWS, served
from tests.support import any_record, factories
from tests.support.cast import Cast
from tests.support.extent import count
from tests.support.factories import NOON
from tests.support.rows import over_rows

METHODS = {"get", "post", "put", "patch", "delete"}


@functools.cache
def description() -> dict[str, Any]:
    """As a program reads it: through JSON."""
    made: dict[str, Any] = json.loads(json.dumps(SchemaGenerator().get_schema(request=None, public=True)))
    return made


def operations() -> list[tuple[str, str, dict[str, Any]]]:
    return [
        (path, method, told)
        for path, item in description()["paths"].items()
        for method, told in item.items()
        if method in METHODS
    ]


def fits(value: Any, name: str) -> None:
    """Raise where a value does not fit a component."""
    schema = {"$ref": f"#/components/schemas/{name}", "components": description()["components"]}
    validator = Draft202012Validator(schema, format_checker=FormatChecker())
    fault = next(validator.iter_errors(value), None)
    assert fault is None, f"{list(fault.absolute_path)}: {fault.message[:300]}" if fault else ""


def test_it_is_valid_openapi_3_1() -> None:
    validate_schema(copy.deepcopy(description()))
    assert list(OpenAPIV31SpecValidator(copy.deepcopy(description())).iter_errors()) == []
    assert description()["openapi"].startswith("3.1.")


def test_it_is_the_same_the_second_time() -> None:
    again = json.loads(json.dumps(SchemaGenerator().get_schema(request=None, public=True)))
    assert again == description()
    assert "FormatEnum" in again["components"]["schemas"]


def as_described(route: str) -> str:
    """An address as the description writes it, its parameters in braces."""
    return re.sub(r"<\w+:(\w+)>", r"{\1}", route)


def test_every_address_is_described_but_the_description_itself() -> None:
    described = {(path.removeprefix("/api/v1/"), method.upper()) for path, method, _ in operations()}
    plain = {(as_described(route), method) for route, method in served()}
    assert described == plain - {("schema/", "GET"), ("docs/", "GET")}
    assert len({told["operationId"] for _, _, told in operations()}) == len(described)


@over_rows(("path", "method", "told"), operations, ids=lambda row: row[2]["operationId"])
def test_every_refusal_is_a_problem_document(path: str, method: str, told: dict[str, Any]) -> None:
    refusals = {status: answer for status, answer in told["responses"].items() if status >= "400"}
    assert {"406", "422", "500"} <= set(refusals) or told["operationId"] == "logout"
    for answer in refusals.values():
        assert list(answer["content"]) == ["application/problem+json"]
        assert answer["description"]
    if "security" in told and {} not in told["security"]:
        assert "401" in refusals
    if "{ref}" in path:
        assert "404" in refusals


def test_roles_get_only_statuses_that_are_described() -> None:
    told = {
        (path.removeprefix("/api/v1/"), method.upper()): set(each["responses"])
        for path, method, each in operations()
    }
    for (route, method), (_, statuses) in ROWS.items():
        path = as_described(route)
        if (path, method) in told:
            assert {str(status) for status in statuses} <= told[path, method], (path, method)


def test_the_examples_are_read_and_answered() -> None:
    document.parse(examples.RECORD)
    for name, schema in description()["components"]["schemas"].items():
        if name in ("Point", "Time"):
            continue
        for example in schema.get("examples", []):
            fits(example, name)
    answer = APIClient().post("/api/v1/eligibility", examples.question())
    shown = description()["components"]["schemas"]["EligibilityReport"]["examples"]
    assert shown == [answer.json()]


@settings(
    max_examples=count(15, 60), suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
@given(any_record.records())
def test_whatever_a_record_can_say_fits_the_description(said: Any) -> None:
    fits(document.dump(said), "TrainingRecord")


@pytest.mark.parametrize("part", document.parse(examples.RECORD).PARTS)
def test_a_key_that_is_not_described_is_neither_read(part: str) -> None:
    spoilt = {"format": "training-record/1", part: [{"nonsense": 1}]}
    with pytest.raises(AssertionError):
        fits(spoilt, "TrainingRecord")
    with pytest.raises(document.DocumentError):
        document.parse(spoilt)


# test_provenance, test_students and test_checkpoint_mails make these queries on SQLite
@pytest.mark.any_database
@pytest.mark.parametrize("milestone", list(rulebook.current().milestones))
def test_answers_fit_the_description(people: Cast, signed_in: Clients, milestone: str) -> None:
    factories.attested(people.sam, document.parse(examples.RECORD), at=NOON)
    client, student = signed_in(people.ida), f"/api/v1/students/{people.sam.ref}"
    for path, name in (
        ("/api/v1/milestones", "MilestoneList"),
        (f"/api/v1/milestones/{milestone}", "Milestone"),
        ("/api/v1/students/", "StudentPage"),
        (f"{student}/", "Student"),
        (f"{student}/record", "TrainingRecord"),
        (f"{student}/eligibility?on=2026-07-05", "Overview"),
        (f"{student}/eligibility/{milestone}?on=2026-07-05", "EligibilityReport"),
    ):
        answer = client.get(path)
        assert answer.status_code == 200, path
        fits(answer.json(), name)
    changed = client.put(
        f"{student}/record",
        {**examples.RECORD, "tests": [], **factories.CONFIRMED},
        headers={"If-Match": "*"},
    )
    fits(changed.json(), "RecordChange")
    fits(client.put(f"{student}/record", {"nonsense": 1}, headers={"If-Match": "*"}).json(), "Problem")
