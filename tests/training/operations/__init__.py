"""What an operator runs."""
