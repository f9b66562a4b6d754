"""What is told to whom, and when."""
