"""A school's courses, and its requirements beyond the law."""
