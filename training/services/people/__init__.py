"""The people of a school: accounts, roles, enrollments."""
