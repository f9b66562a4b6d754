"""The law as data: every number held against its published source."""
