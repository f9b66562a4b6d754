"""The API: each noun, and its description as a contract."""
