"""A tablet with a passkey, and a school whose student it writes lessons of."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser

from tests.support import courses, factories
from tests.support.cast import Cast
from tests.training.web.accounts.test_passkeys_in_a_browser import Device


@pytest.fixture
def teaching(school: Cast) -> Cast:
    """Sam is in the shipped course, and the school has an airplane."""
    courses.enrolled(school)
    factories.aircraft(school.school, registration="N00XY", model="C172")
    return school


@pytest.fixture
def tablet(browser: Browser) -> Iterator[Device]:
    made = Device(browser)
    yield made
    made.context.close()
