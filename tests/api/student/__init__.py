"""The nouns of a student's record."""
