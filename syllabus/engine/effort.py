"""How much processor time one question may take: looked at in the loops whose length a document decides."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from time import thread_time

from syllabus.engine.errors import Error, InputError

_ends: ContextVar[tuple[float, float] | None] = ContextVar("ends", default=None)


class TooMuch(InputError):
    """More than is read or worked out at once. The message names the figure, the limit and the way out."""

    def __init__(self, message: str, errors: Iterable[Error] = (), place: str = ""):
        self.summary = message
        super().__init__([*errors, Error(place, message)])


@contextmanager
def within(seconds: float) -> Iterator[None]:
    """Let this thread use so many seconds of processor time. Raises: TooMuch, from inside."""
    token = _ends.set((thread_time() + seconds, seconds))
    try:
        yield
    finally:
        _ends.reset(token)


def check() -> None:
    """Raises: TooMuch where the time of ``within`` is used up."""
    ends = _ends.get()
    if ends is not None and thread_time() > ends[0]:
        raise TooMuch(
            f"This needs more than {ends[1]:g} s of processor time, the limit for one call. "
            "Send fewer entries, positions and distinct routes, or leave out and in times of long flights."
        )
