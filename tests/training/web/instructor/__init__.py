"""The instructor's pages."""
