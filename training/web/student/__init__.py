"""The student's pages: my progress, hours, lessons, rules and record."""
