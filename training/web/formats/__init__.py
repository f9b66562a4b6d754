"""Date and time formats, one folder for each language that differs from Django's."""
