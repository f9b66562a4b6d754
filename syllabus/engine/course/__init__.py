"""Courses, progress and the next lesson. Nothing here says what the law asks."""
