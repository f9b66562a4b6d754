"""Fixtures of the tests of the stored record."""

from tests.support import cast
from tests.support.kept import kept


@kept
def people(db: None) -> cast.Cast:
    return cast.cast()
