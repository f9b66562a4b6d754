"""A student's record from school to school, in one file."""
