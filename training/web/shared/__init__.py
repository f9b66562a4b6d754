"""What all pages use: forms, presenters, language, opening, request log."""
