"""The nouns of a student's record, a file for each: its serializer and its view."""
