"""A school's people, aircraft and settings."""
