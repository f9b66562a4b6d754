"""The nouns of a school, a file for each: its serializer and its view. For administrators and instructors."""
