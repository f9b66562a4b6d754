"""Courses: what is sent and answered, and the calls."""
