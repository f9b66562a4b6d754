"""Commands about what is required."""
