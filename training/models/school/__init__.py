"""The school, its people, students and aircraft. No entry of a training record."""
