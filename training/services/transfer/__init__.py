"""Transfer a student's record between schools in one file."""
