"""The one place where rows become the engine's Record, and back."""

from training.record.adding import add, differences, entry_of, put, retire, rows, unsealed, vouch
from training.record.reading import of
from training.record.writing import Moved, Replaced, SealedEntry, entry_hash, fingerprint, moved, same, store
