"""What can go wrong in the engine, each with the place and the way out."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Self


class EngineError(Exception):
    """Base of every error the engine raises on purpose; ``str()`` is fit for a person to read."""


@dataclass(frozen=True, slots=True)
class Error:
    """One error in the input, to be listed with the others.

    ``place`` is a path into the input, such as ``flights[3].times.dual``; empty for the whole of it.
    """

    place: str
    message: str

    def __str__(self) -> str:
        return f"{self.place}: {self.message}" if self.place else self.message


class InputError(EngineError):
    """The input has errors; all of them are listed."""

    what = "the input"

    def __init__(self, errors: Iterable[Error]):
        self.errors = tuple(errors)
        super().__init__("\n".join(str(error) for error in self.errors))

    @classmethod
    def at(cls, place: str, message: str) -> Self:
        """With the one error at a place."""
        return cls([Error(place, message)])


class DocumentError(InputError):
    """A training record document cannot be read."""

    what = "the training record"


class QuestionError(InputError):
    """The question (milestone, day, context) cannot be read."""

    what = "the question"


class RuleDataError(InputError):
    """The regulation data is not well formed; places are ``file:line``."""

    what = "the regulation data"


class UnknownMilestone(EngineError):
    """No milestone of that id is in the rulebook."""

    def __init__(self, asked: str, known: Iterable[str]):
        self.asked, self.known = asked, tuple(known)
        super().__init__(f"there is no milestone {asked!r}; use one of {', '.join(self.known)}")


class NotInForce(EngineError):
    """A requirement has no version for the day asked about."""
