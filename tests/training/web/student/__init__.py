"""The student's pages."""
