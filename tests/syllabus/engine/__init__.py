"""The engine by itself: no database."""
