"""Checks a file that the ledger gave away, without this server: ``python -m training.ledger.verify FILE``."""
