"""Where the data of the rules are read from: the folders here, and others that are added for a while.

A further authority for good is a file in each of the folders here. ``added`` is for a trial and for tests: a
folder outside of this one that holds the same folders is read beside them.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache, wraps
from pathlib import Path
from typing import TypeVar

from syllabus.engine.record import vocabulary

HOME = Path(__file__).parent
_roots: tuple[Path, ...] = (HOME,)
_forget: list[Callable[[], None]] = []
_Made = TypeVar("_Made")


def folders(name: str) -> tuple[Path, ...]:
    """The folders of that name, the project's own first; a folder that was added need not have one."""
    return tuple(root / name for root in _roots if root == HOME or (root / name).is_dir())


def authorities() -> set[str]:
    """The authorities that there are: those with milestones."""
    return {path.name for home in folders("regulations") for path in home.iterdir() if path.is_dir()}


def read_once(read: Callable[[], _Made]) -> Callable[[], _Made]:
    """Call a function without arguments once a process, and again when a folder is added or taken away."""
    kept = cache(read)
    _forget.append(kept.cache_clear)

    @wraps(read)
    def current() -> _Made:
        return kept()

    return current


@contextmanager
def added(root: Path) -> Iterator[None]:
    """For the time of the block the data of another folder are read too, in the whole process."""
    global _roots
    before = _roots
    _set((*before, root))
    try:
        yield
    finally:
        _set(before)


def _set(roots: tuple[Path, ...]) -> None:
    global _roots
    _roots = roots
    vocabulary.read(*folders("vocabulary"))
    for forget in _forget:
        forget()
