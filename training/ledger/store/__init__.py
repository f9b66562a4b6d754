"""The ledger's rows: sealed, proved, exported, audited, guarded. It imports nothing of the training
record."""
