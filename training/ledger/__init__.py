"""The ledger: signed entries that nobody changes unseen. It imports nothing else of the training record."""
