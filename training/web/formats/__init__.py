"""How days and times are written, a folder for each language that has ways of its own here; else Django's."""
