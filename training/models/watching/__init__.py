"""Calculated summaries, reminders and deliveries. All can be calculated again, except for what was sent."""
