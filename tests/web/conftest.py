"""The people who look at the pages."""

from __future__ import annotations

import pytest
from django.core.cache import cache

from api.v1.schemas.examples import RECORD
from syllabus.engine import document
from tests import factories
from tests.cast import Cast, cast
from training import record


@pytest.fixture
def people(db: None) -> Cast:
    return cast()


SAMS = {**RECORD, "student": {"name": "Sam Example", "birth_date": "2006-05-17"}}


@pytest.fixture
def taught(people: Cast) -> Cast:
    """The same, and Sam has a record."""
    record.store(people.sam, document.parse(SAMS), by=None, at=factories.NOON)
    return people


@pytest.fixture(autouse=True)
def no_try_counted_yet() -> None:
    """Tries to sign in are counted in the cache, which outlives a test."""
    cache.clear()
