"""The people who look at the pages."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.core.cache import cache
from playwright.sync_api import Browser

from api.v1.base.examples import RECORD
from syllabus.engine.record import document
from tests.support import factories
from tests.support.browsing import PASSWORD, SIZES, Watched
from tests.support.cast import Cast, cast
from tests.support.kept import kept


@kept
def people(db: None) -> Cast:
    return cast()


SAMS = {**RECORD, "student": {"name": "Sam Example", "birth_date": "2006-05-17"}}


@kept
def taught(people: Cast) -> Cast:
    """The same, and Sam has a record."""
    factories.attested(people.sam, document.parse(SAMS), at=factories.NOON)
    return people


@pytest.fixture(autouse=True)
def no_try_counted_yet() -> None:
    """Tries to sign in are counted in the cache, which outlives a test."""
    cache.clear()


@pytest.fixture
def school(transactional_db: None) -> Cast:
    people = cast()
    people.ida.set_password(PASSWORD)
    people.ida.save()
    factories.attested(people.sam, document.parse(SAMS), at=factories.NOON)
    return people


@pytest.fixture
def watched(browser: Browser) -> Iterator[Watched]:
    """A page on a telephone; ``is_well`` looks at it at the other sizes and in both schemes too."""
    width, height = SIZES["a telephone"]
    # The rules are read by a script put into the page, which its policy would rightly refuse.
    context = browser.new_context(viewport={"width": width, "height": height}, bypass_csp=True)
    yield Watched(context.new_page())
    context.close()
