"""The one place where rows become the engine's Record, and back."""

from training.record.adding import add, entry_of
from training.record.reading import of
from training.record.writing import fingerprint, store

__all__ = ["add", "entry_of", "fingerprint", "of", "store"]
