"""The one place where rows become the engine's Record, and back."""

from training.record.adding import add, add_all, differences, entry_of, retire
from training.record.reading import of
from training.record.writing import SealedEntry, fingerprint, store

__all__ = ["SealedEntry", "add", "add_all", "differences", "entry_of", "fingerprint", "of", "retire", "store"]
