"""What is required: the rulebook, the courses, and the engine that answers when a requirement holds."""
