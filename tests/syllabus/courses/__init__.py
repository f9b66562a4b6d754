"""Courses as files and as published versions."""
