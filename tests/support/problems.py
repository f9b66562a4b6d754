"""What every refusal has to look like."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any


def problem(
    answer: Any, status: int, *, type: str = "about:blank", title: str | None = None
) -> dict[str, Any]:
    """The problem document of a refusal of that status, whose shape is checked."""
    assert answer.status_code == status, answer.content[:500]
    assert answer["Content-Type"].partition(";")[0] == "application/problem+json"
    told: dict[str, Any] = answer.json()
    wanted = (type, title or HTTPStatus(status).phrase, status)
    assert (told["type"], told["title"], told["status"]) == wanted
    assert told["detail"]
    assert "Traceback" not in answer.content.decode()
    return told


def not_covered(answer: Any) -> dict[str, Any]:
    """The problem document of a refusal where the rules end."""
    return problem(answer, 422, type="/problems/not-covered", title="Not covered by these rules")


def places(answer: Any, status: int = 422) -> list[str]:
    """The places that a refusal names."""
    return [each["place"] for each in problem(answer, status)["errors"]]
