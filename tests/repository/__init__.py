"""The repository itself: layout, words, documents, locks, images."""
