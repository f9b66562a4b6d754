"""The student's pages: where I stand, my hours, lessons and record."""
