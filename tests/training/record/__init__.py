"""Rows to records and back."""
