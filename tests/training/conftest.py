"""Fixtures of the tests of the stored record."""

import pytest

from tests.support import cast


@pytest.fixture
def people(db: None) -> cast.Cast:
    return cast.cast()
