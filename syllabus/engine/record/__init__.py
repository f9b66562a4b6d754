"""A training record as values, and as a document: each shape is declared once. No question is asked here."""
