"""Lesson records: what is sent and answered, and the calls."""
