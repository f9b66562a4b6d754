"""Converts database rows to the engine's Record, and back. No other module does."""

from training.record.adding import add, differences, entry_of, put, retire, rows, unsealed, vouch
from training.record.reading import of
from training.record.writing import Moved, Replaced, SealedEntry, entry_hash, fingerprint, moved, same, store
