"""How far a run goes: the suite takes seeded samples of what is endless or long, ``.ci/long`` takes it all.

``TEST_EXTENT=full`` is read here and nowhere else. A sample is of the same kind as the whole: it kills the
same processes, changes the same numbers and makes records at random by the same strategies, only fewer of
them. It is the same in every run, so that a failure can be had again; a full run draws its records anew.
"""

import os
import zlib
from collections.abc import Callable, Iterable
from typing import TypeVar

T = TypeVar("T")
_ASKED = os.environ.get("TEST_EXTENT", "sample")
if _ASKED not in ("sample", "full"):
    raise SystemExit(f"TEST_EXTENT is {_ASKED!r}; it is sample or full")

FULL = _ASKED == "full"


def count(sample: int, full: int) -> int:
    """How many rounds, examples or kills."""
    return full if FULL else sample


def sampled(rows: Iterable[T], one_in: int, name: Callable[[T], object] = str) -> list[T]:
    """About one row in so many, drawn by its name: a row that is added leaves the others as they are."""
    return [row for row in rows if FULL or zlib.crc32(str(name(row)).encode()) % one_in == 0]
