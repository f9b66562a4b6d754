"""For operators: backup, checks, database rights, metrics, and the demo school."""
