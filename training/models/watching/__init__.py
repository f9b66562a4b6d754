"""What was worked out and is kept, and who is told. All of it can be made anew, but for what was sent."""
