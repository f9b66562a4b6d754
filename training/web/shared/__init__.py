"""What the pages of every reader use: words and shapes, language, the note of each request."""
