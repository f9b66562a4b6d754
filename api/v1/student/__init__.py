"""The resources of a student's record, a file for each."""
