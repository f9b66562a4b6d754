"""What can go wrong in the engine, each with the place and the way out."""

from collections.abc import Iterable
from dataclasses import dataclass


class EngineError(Exception):
    """Base of every error the engine raises on purpose; ``str()`` is fit for a person to read."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with what was given.

    ``place`` is a path into the input, such as ``flights[3].times.dual``; empty for the whole of it.
    """

    place: str
    message: str

    def __str__(self) -> str:
        return f"{self.place}: {self.message}" if self.place else self.message


class FaultsFound(EngineError):
    """The input has one or more faults; all of them are listed, none is hidden behind the first."""

    what = "the input"

    def __init__(self, faults: Iterable[Fault]):
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class DocumentError(FaultsFound):
    """A training record document cannot be read as it stands."""

    what = "the training record"


class QuestionError(FaultsFound):
    """The question (milestone, day, context) cannot be read as it stands."""

    what = "the question"


class RuleDataError(FaultsFound):
    """The regulation data is not well formed; places are ``file:line``."""

    what = "the regulation data"


class UnknownMilestone(EngineError):
    """No milestone of that id is in the rulebook."""

    def __init__(self, asked: str, known: Iterable[str]):
        self.asked, self.known = asked, tuple(known)
        super().__init__(f"no milestone is called {asked!r}; there are {', '.join(self.known)}")


class NotInForce(EngineError):
    """A requirement has no version for the day asked about."""
