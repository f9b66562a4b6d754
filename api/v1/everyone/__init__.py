"""What is not about one school or student: signing in, stateless questions, notices, reminders, search."""
