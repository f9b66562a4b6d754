"""What of a record does not agree with the rules of its own days. Nothing here changes a record."""
