"""What follows from a shape's one declaration: how it is read, written and described."""

from typing import Any

import pytest
from jsonschema import Draft202012Validator

from syllabus.engine.errors import DocumentError
from syllabus.engine.record.document import parse
from syllabus.engine.record.record import Aircraft, Flight, Landings, Record, Test
from syllabus.engine.record.shapes import Field, components, shape_of
from syllabus.engine.rules.question import Context
from tests.support.rows import over_rows
from tests.syllabus.engine.test_document import document, faults, flight


def two(first: dict[str, Any], second: dict[str, Any]) -> dict[str, Any]:
    return document(flights=[flight(id="f1", **first), flight(id="f2", **second)])


@pytest.mark.parametrize(
    ("right", "wrong", "error"),
    [
        pytest.param(
            {"landings": [{"takeoffs": 1}]},
            {"landings": [{"takeoffs": True}]},
            "landings[0].takeoffs: true is not a whole number",
            id="true after 1",
        ),
        pytest.param(
            {"landings": [{"full_stop": True}]},
            {"landings": [{"full_stop": 1}]},
            "landings[0].full_stop: expected true or false, got the number 1",
            id="1 after true",
        ),
        pytest.param(
            {"times": {"night": 0}},
            {"times": {"night": False}},
            "times.night: false is not a time; write for example '1.4 h', '84 min', '1:24' or 1.4",
            id="false after 0",
        ),
        pytest.param(
            {"times": {"night": 0.0}},
            {"times": {"night": -0.0}},
            "times.night: -0.0 is below zero; a time is 0 or more",
            id="-0.0 after 0.0",
        ),
    ],
)
def test_what_is_equal_and_not_the_same_is_read_on_its_own(
    right: dict[str, Any], wrong: dict[str, Any], error: str
) -> None:
    """Equal objects are read once, and Python calls 1, 1.0 and true equal."""
    assert faults(two(right, wrong)) == [f"flights[1].{error}"]
    assert faults(two(wrong, right)) == [f"flights[0].{error}"]


def test_an_error_that_stands_twice_is_told_twice() -> None:
    wrong = {"aircraft": {"device": "SIM"}}
    assert [each.split(": ")[0] for each in faults(two(wrong, wrong))] == [
        "flights[0].aircraft.device",
        "flights[1].aircraft.device",
    ]


def test_equal_objects_of_a_document_become_one() -> None:
    one, other = parse(two({"aircraft": {"model": "C172"}}, {"aircraft": {"model": "C172"}})).flights
    assert one.aircraft is other.aircraft


@pytest.mark.parametrize(
    ("value", "written"),
    [
        pytest.param(Aircraft(), {}, id="nothing known"),
        pytest.param(Aircraft(klass="helicopter"), {"class": "helicopter"}, id="a word that Python keeps"),
        pytest.param(Landings(), {"takeoffs": 0, "landings": 0}, id="a count of none is said"),
        pytest.param(
            Landings(full_stop=False), {"takeoffs": 0, "landings": 0, "full_stop": False}, id="no is said"
        ),
    ],
)
def test_an_object_says_what_is_known(value: Any, written: dict[str, Any]) -> None:
    assert shape_of(type(value)).write(value) == written


def test_a_list_that_is_empty_is_not_one_that_was_left_out() -> None:
    given = {"id": "t1", "kind": "knowledge:private-airplane", "date": "2026-05-01"}
    (read,) = parse(document(tests=[{**given, "deficient_codes": []}])).tests
    assert shape_of(Test).write(read) == {**given, "deficient_codes": []}


def test_every_key_has_a_schema_and_no_other_is_allowed() -> None:
    flown, craft = shape_of(Flight).schema, shape_of(Aircraft).schema
    assert list(flown["properties"]) == [field.key for field in shape_of(Flight).fields]
    assert {"id", "date", "in"} <= set(flown["properties"])
    assert list(craft["properties"]) == ["registration", "model", "category", "class", "device"]
    assert (flown["required"], "required" in craft) == (["date"], False)
    assert (flown["additionalProperties"], craft["additionalProperties"]) == (False, False)


@over_rows("name", list(components(shape_of(Record))))
def test_every_component_is_a_json_schema(name: str) -> None:
    Draft202012Validator.check_schema(components(shape_of(Record))[name])


def test_an_object_of_another_kind_hides_no_error_of_its_neighbors() -> None:
    with pytest.raises(DocumentError) as refused:
        parse(document(flights=[5, flight(), flight()]))
    assert [fault.place for fault in refused.value.errors] == ["flights[0]", "flights[2].id"]


@pytest.mark.parametrize("field", shape_of(Context).fields, ids=lambda field: field.key)
def test_every_key_of_a_question_is_described(field: Field) -> None:
    """The API's description says these words of each parameter of a query."""
    assert field.description.endswith(".")
    assert not field.required
