"""Commands about the rules and courses."""
