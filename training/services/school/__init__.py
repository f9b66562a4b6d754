"""A school's own data: aircraft models, settings, and views over all students."""
