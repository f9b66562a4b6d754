"""The ledger's arithmetic and forms, in plain Python: no Django, no database."""
