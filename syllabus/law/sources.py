"""The folders of the rule data: those here, and others that are added temporarily.

A new authority is a file in each of the folders here. ``added`` is for trials and tests: it reads an outside
folder with the same layout as well.
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
    """The folders of that name, the project's first; an added folder may lack one."""
    return tuple(root / name for root in _roots if root == HOME or (root / name).is_dir())


def authorities() -> set[str]:
    """The authorities with milestones."""
    return {path.name for home in folders("regulations") for path in home.iterdir() if path.is_dir()}


def read_once(read: Callable[[], _Made]) -> Callable[[], _Made]:
    """Call a function without arguments once per process, and again after a folder is added or removed."""
    kept = cache(read)
    _forget.append(kept.cache_clear)

    @wraps(read)
    def current() -> _Made:
        return kept()

    return current


@contextmanager
def added(root: Path) -> Iterator[None]:
    """Inside the block also read the data of another folder, in the whole process."""
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
