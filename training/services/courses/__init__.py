"""A school's courses, and what it asks for beyond the law."""
