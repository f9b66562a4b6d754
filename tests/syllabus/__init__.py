"""What is required: the law as data, courses, and the engine."""
