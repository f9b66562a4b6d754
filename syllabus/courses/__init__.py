"""Courses as documents: read from a file, with every error at its line, and written back the same."""
