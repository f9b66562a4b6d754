"""Every address below /api/ is there with a slash at its end and without; a POST's body comes through."""

import pytest
from django.test import Client

ASKED = {"record": {"format": "training-record/1"}, "milestone": "faa.first-solo", "on": "2026-11-24"}


@pytest.mark.parametrize("end", ["", "/"])
def test_a_question_is_answered_with_and_without_a_slash(client: Client, db: None, end: str) -> None:
    answer = client.post(f"/api/v1/eligibility{end}", ASKED, content_type="application/json")

    assert answer.status_code == 200
    assert answer.json()["milestone"] == "faa.first-solo"


@pytest.mark.parametrize(
    ("address", "status"),
    [
        ("/api/v1/milestones", 200),
        ("/api/v1/milestones/faa.first-solo", 200),
        ("/api/v1/students", 401),
        ("/api/v1/nothing-of-the-kind", 404),
    ],
)
def test_both_forms_of_an_address_answer_alike(client: Client, db: None, address: str, status: int) -> None:
    assert [client.get(address).status_code, client.get(f"{address}/").status_code] == [status, status]
