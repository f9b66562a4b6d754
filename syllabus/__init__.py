"""What is required: the rulebook, the courses, and the engine that checks requirements."""
