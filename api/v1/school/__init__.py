"""The resources of a school, a file for each, for administrators and instructors."""
