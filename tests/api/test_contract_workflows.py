"""A hundred calls or more along the links of the description, each answer held against it.

A full run (``.ci/long``) makes a thousand, and prints what was answered.
"""

from __future__ import annotations

import pytest

from api.v1.base.links import LINKS
from tests.api.test_contract import connection_kept  # noqa: F401  (a fixture)
from tests.api.test_description import operations
from tests.support.cast import Cast
from tests.support.extent import FULL, count
from tests.support.rows import over_rows
from tests.support.workflows import Workflow, people_who_can_sign


@pytest.mark.postgresql  # it takes long, and a second time shows little
@pytest.mark.usefixtures("connection_kept")
def test_ways_through_the_api_are_as_described(people: Cast, capsys: pytest.CaptureFixture[str]) -> None:
    cases = count(100, 1000)
    flow = Workflow(people_who_can_sign(people), seed=cases)
    flow.walk(cases)
    if FULL:
        with capsys.disabled():
            print(f"\n{flow.calls} calls in {flow.scenarios} scenarios, {len(flow.failures)} failures")
            for (operation, status), number in sorted(flow.told.items()):
                print(f"{number:6} {operation} {status}")
    assert flow.failures == []
    assert flow.calls >= cases
    assert flow.unseen == set()


@over_rows(("operation", "status"), [pytest.param(*each, id=f"{each[0]} {each[1]}") for each in LINKS])
def test_links_lead_from_answers_that_are_given_to_operations_that_are_there(
    operation: str, status: int
) -> None:
    described = {told["operationId"]: told for _, _, told in operations()}
    links = described[operation]["responses"][str(status)]["links"]
    assert len(links) == len(LINKS[operation, status])
    for link in links.values():
        target = described[link["operationId"]]
        assert set(link["parameters"]) <= {each["name"] for each in target["parameters"]}
        assert "requestBody" in target or "requestBody" not in link
