"""What a school has and sets: aircraft, settings, and the view over all students."""
