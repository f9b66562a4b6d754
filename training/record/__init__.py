"""The one place where rows become the engine's Record, and back."""

from training.record.adding import add, differences, entry_of, put, retire, rows
from training.record.reading import of
from training.record.writing import SealedEntry, fingerprint, store

__all__ = [
    "SealedEntry",
    "add",
    "differences",
    "entry_of",
    "fingerprint",
    "of",
    "put",
    "retire",
    "rows",
    "store",
]
