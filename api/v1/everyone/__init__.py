"""The nouns of whoever asks: signing in, questions without a school, notices, reminders, search."""
