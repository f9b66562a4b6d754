"""The people who call the API, each with a client that is signed in by token."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import pytest
from django.core.cache import cache
from knox.models import AuthToken
from rest_framework.test import APIClient

from api.v1.base import examples
from tests.support import factories
from tests.support.cast import Cast, cast
from tests.support.kept import kept
from training import models

Clients = Callable[[models.User | None], APIClient]


@pytest.fixture(autouse=True)
def no_call_counted_yet() -> None:
    """Throttles count in the cache, which outlives a test."""
    cache.clear()


@kept
def people(db: None) -> Cast:
    return cast()


@pytest.fixture
def signed_in() -> Clients:
    """A client for a user by token, whose password is ``factories.PASSWORD`` unless it was set; for None, one
    that is not signed in."""

    def client(user: models.User | None) -> APIClient:
        made = APIClient()
        if user is not None:
            if not user.has_usable_password():
                user.set_password(factories.PASSWORD)
                user.save(update_fields=["password"])
            _, token = AuthToken.objects.create(user=user)
            made.credentials(HTTP_AUTHORIZATION=f"Token {token}")
        return made

    return client


@pytest.fixture
def anyone() -> APIClient:
    return APIClient()


@pytest.fixture
def question() -> dict[str, Any]:
    """A question that gets a report; each test may spoil its own copy."""
    return copy.deepcopy(examples.question())
