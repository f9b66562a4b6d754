"""Courses as documents: read from a file with every fault at its line, and written back the same."""
