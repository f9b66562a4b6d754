"""What every refusal has to look like."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any


def problem(answer: Any, status: int) -> dict[str, Any]:
    """The problem document of a refusal of that status, whose shape is checked."""
    assert answer.status_code == status, answer.content[:500]
    assert answer["Content-Type"].partition(";")[0] == "application/problem+json"
    told: dict[str, Any] = answer.json()
    assert (told["type"], told["title"], told["status"]) == ("about:blank", HTTPStatus(status).phrase, status)
    assert told["detail"]
    assert "Traceback" not in answer.content.decode()
    return told


def places(answer: Any, status: int = 422) -> list[str]:
    """The places that a refusal names."""
    return [each["place"] for each in problem(answer, status)["errors"]]
