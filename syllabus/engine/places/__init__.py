"""Where airports are, and how far apart. No rule stands here."""
