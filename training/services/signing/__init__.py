"""What every signature has: that it is the user who signs, and where the statement goes."""
