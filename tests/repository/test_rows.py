"""The suite's own helper: a row that fails is named with its difference, and none after it is left out."""

import pytest

from tests.support.rows import over_rows


@over_rows(("a", "b"), [pytest.param(1, 1, id="one"), pytest.param(1, 2, id="two"), (3, 4)])
def compared(a: int, b: int) -> None:
    assert {"a": a} == {"a": b}


def test_every_row_is_checked_and_each_that_fails_is_named_with_its_difference() -> None:
    with pytest.raises(pytest.fail.Exception) as caught:
        compared()
    told = str(caught.value)
    assert told.startswith("2 of 3 rows:\ntwo:\n")
    assert "{'a': 1} != {'a': 2}" in told
    assert "(3, 4):\n" in told
    assert "one:\n" not in told


def test_no_rows_at_all_are_a_failure() -> None:
    with pytest.raises(AssertionError, match="there are no rows"):
        over_rows("a", list)(compared)(b=1)
