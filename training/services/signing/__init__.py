"""What all signatures share: re-authentication, and the entry in the ledger."""
