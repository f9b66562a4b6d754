"""The nouns of whoever asks."""
