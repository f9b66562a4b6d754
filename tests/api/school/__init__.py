"""The nouns of a school."""
