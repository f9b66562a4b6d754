"""The edges of the address table: the description, its page, and what is answered where nothing is."""

import json
import re

import pytest
from django.core.exceptions import PermissionDenied, SuspiciousOperation
from django.http import Http404, HttpRequest
from django.test import Client, RequestFactory

from training.config import error_pages


def asked(path: str) -> HttpRequest:
    return RequestFactory().get(path)


@pytest.mark.parametrize(
    ("answer", "status"),
    [
        pytest.param(
            lambda r: error_pages.bad_request(r, SuspiciousOperation("x")),
            400,
            id="a request that is no request",
        ),
        pytest.param(lambda r: error_pages.permission_denied(r, PermissionDenied()), 403, id="a closed door"),
        pytest.param(lambda r: error_pages.page_not_found(r, Http404()), 404, id="nothing there"),
        pytest.param(error_pages.server_error, 500, id="a fault of ours"),
    ],
)
def test_a_program_gets_a_problem_document_and_a_person_a_page(answer, status: int) -> None:
    told = answer(asked("/api/v1/nothing"))
    assert (told.status_code, told["Content-Type"]) == (status, "application/problem+json")
    problem = json.loads(told.content)
    assert set(problem) == {"type", "title", "status", "detail"}
    assert problem["status"] == status
    page = answer(asked("/nothing"))
    assert (page.status_code, page["Content-Type"].partition(";")[0]) == (status, "text/html")


def test_an_unknown_api_address_is_named_with_the_way_out(client: Client) -> None:
    answer = client.get("/api/v1/no-such-thing/")
    assert answer.status_code == 404
    assert answer["Content-Type"] == "application/problem+json"
    assert "/api/v1/no-such-thing/" in answer.json()["detail"]
    assert "/api/v1/docs/" in answer.json()["detail"]


def test_the_docs_page_loads_nothing_from_elsewhere(client: Client) -> None:
    page = client.get("/api/v1/docs/")
    assert page.status_code == 200
    loaded = re.findall(r'(?:src|href)="([^"]+)"', page.content.decode())
    assert len(loaded) >= 4
    assert [address for address in loaded if not address.startswith("/")] == []
    policy = {part.split()[0]: part.split()[1:] for part in page["Content-Security-Policy"].split("; ")}
    assert policy["script-src"] == ["'self'"]
    assert policy["default-src"] == ["'self'"]
    for address in loaded:
        assert client.get(address).status_code == 200, address


def test_the_description_says_which_openapi_it_is(client: Client) -> None:
    answer = client.get("/api/v1/schema/", headers={"Accept": "application/vnd.oai.openapi+json"})
    assert answer.status_code == 200
    assert json.loads(answer.content)["openapi"].startswith("3.1.")
