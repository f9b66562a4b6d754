"""The errors found while plain values are read, and the limits of one text."""

from __future__ import annotations

import difflib
from collections import defaultdict
from collections.abc import Callable, Collection
from typing import Any

from syllabus.engine import effort
from syllabus.engine.errors import Error, InputError

#: Looking for the word somebody meant is slow work, and of no use in a text that is wrong all over.
MOST_HINTS = 200
#: Reading stops after so many errors.
MOST_ERRORS = 1_000
#: How many different words of one text are compared with those that are known; and places by position.
MOST_UNKNOWN, MOST_POSITIONS = 1_000, 5_000


class Errors(list[Error]):
    """The errors found so far.

    ``memo`` holds what was read without one, so that it is read once, and ``plain`` the readers of ordinary
    objects (``syllabus.engine.record.plain``).
    """

    def __init__(self) -> None:
        super().__init__()
        self.memo: dict[Callable[..., Any], dict[bytes, Any]] = defaultdict(dict)
        self.plain: dict[object, Callable[[Any], Any]] = {}
        self.positions = 0
        self._hinted: set[str] = set()
        self._unknown: dict[tuple[str, tuple[str, ...]], str | None] = {}

    def hint(self, word: str) -> bool:
        """Whether what somebody meant by this word is looked for: of so many different words."""
        if len(self._hinted) < MOST_HINTS:
            self._hinted.add(word)
        return word in self._hinted

    def meant(self, word: object, known: Collection[str], cutoff: float = 0.6) -> str | None:
        """The known word closest to one that is not known, as a hint; None where none is close."""
        if not isinstance(word, str) or len(word) > 100 or not self.hint(word):
            return None
        return self.mistaken(word, known, cutoff)

    def mistaken(self, word: str, known: Collection[str], cutoff: float) -> str | None:
        """The known word that a new one is easily taken for; looked for once. Raises: TooMuch."""
        key = (word, tuple(known))
        if key not in self._unknown:
            if len(self._unknown) >= MOST_UNKNOWN:
                raise effort.TooMuch(
                    f"More than {MOST_UNKNOWN:,} different words that no rule knows (kinds, purposes); "
                    f"the limit is {MOST_UNKNOWN:,}. Correct them, or leave out those that no rule reads.",
                    self,
                )
            self._unknown[key] = next(iter(difflib.get_close_matches(word, known, 1, cutoff)), None)
        return self._unknown[key]

    def position(self) -> None:
        """Count one more place given by its position. Raises: TooMuch."""
        self.positions += 1
        if self.positions > MOST_POSITIONS:
            raise effort.TooMuch(
                f"More than {MOST_POSITIONS:,} places given by position; the limit is {MOST_POSITIONS:,}. "
                "Name airports by their identifiers, or send fewer flights.",
                self,
            )

    def add(self, place: str, message: str) -> None:
        if len(self) >= MOST_ERRORS:
            raise effort.TooMuch(
                f"More than {MOST_ERRORS:,} errors; reading stopped at the limit of {MOST_ERRORS:,}. "
                "Correct those listed and send it again.",
                self,
            )
        self.append(Error(place, message))

    def expected(self, what: str, value: object, place: str) -> None:
        """Note a value of another type: ``expected an object, got a string``."""
        self.add(place, f"expected {what}, got {got(value)}")

    def stop(self, error: type[InputError]) -> None:
        """Raise ``error`` with all of them, if there are any; the end of reading."""
        self.plain.clear()  # its readers refer to this object, and would keep it and the memo alive
        if self:
            raise error(self)


def called(value: object) -> str:
    """What JSON calls a value, for messages."""
    match value:
        case None:
            return "null"
        case bool():
            return "true" if value else "false"
        case str():
            return repr(value if len(value) <= 40 else value[:37] + "…")
        case int() | float():
            return str(value)
        case list():
            return "a list"
        case dict():
            return "an object"
    return type(value).__name__


def got(value: object) -> str:
    """What kind of value JSON gave where another was expected, for messages."""
    if isinstance(value, str):
        return "a string"
    if isinstance(value, int | float) and not isinstance(value, bool):
        return f"the number {value}"
    return called(value)
