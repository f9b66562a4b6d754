"""The administrator's pages."""
