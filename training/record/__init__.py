"""The one place where rows become the engine's Record, and back."""

from training.record.reading import of
from training.record.writing import fingerprint, store

__all__ = ["fingerprint", "of", "store"]
