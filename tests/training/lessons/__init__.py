"""Lessons from the draft to the signature."""
