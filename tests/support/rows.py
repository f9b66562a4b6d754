"""Many rows in one test: to collect, run and report a test costs more than most rows take."""

import contextlib
import functools
import inspect
import traceback
from collections.abc import Callable, Iterable, Iterator
from typing import Any

import pytest
from django.db import transaction

Check = Callable[..., None]
PARAM = type(pytest.param())


def over_rows(
    names: str | tuple[str, ...],
    rows: Iterable[Any] | Callable[[], Iterable[Any]],
    ids: Callable[[Any], object] = str,
    undo: bool = False,
) -> Callable[[Check], Check]:
    """As ``pytest.mark.parametrize``, in one test: it checks every row, and names each that fails.

    A function makes its rows when the test runs: only the worker that runs it makes them. The rows share
    the test's other fixtures; with ``undo``, none finds what another wrote to the database.
    """
    keys = (names,) if isinstance(names, str) else names

    def decorate(check: Check) -> Check:
        @functools.wraps(check)
        def test(*args: Any, **fixtures: Any) -> None:
            made = list(rows() if callable(rows) else rows)
            failed = []
            for row in made:
                values = row.values if isinstance(row, PARAM) else row if len(keys) > 1 else (row,)
                try:
                    with undone() if undo else contextlib.nullcontext():
                        check(*args, **fixtures, **dict(zip(keys, values, strict=True)))
                except (Exception, pytest.fail.Exception) as failure:
                    name = row.id if isinstance(row, PARAM) else ids(row)
                    failed.append(f"{name}:\n{''.join(traceback.format_exception(failure))}")
            assert made, "there are no rows"
            if failed:
                pytest.fail("\n".join([f"{len(failed)} of {len(made)} rows:", *failed]), pytrace=False)

        signature = inspect.signature(check)
        others = [each for name, each in signature.parameters.items() if name not in keys]
        test.__signature__ = signature.replace(parameters=others)  # type: ignore[attr-defined]
        return test

    return decorate


@contextlib.contextmanager
def undone() -> Iterator[None]:
    """What a row writes to the database is gone when the next row is checked."""
    before = transaction.savepoint()
    try:
        yield
    finally:
        transaction.savepoint_rollback(before)
