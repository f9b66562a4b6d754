"""One thing that is wrong with a ledger or an export, and where."""

from typing import NamedTuple


class Error(NamedTuple):
    """``place`` names the entry, node or field; ``says`` what is wrong with it."""

    place: str
    says: str

    def __str__(self) -> str:
        return f"{self.place}: {self.says}"
