"""Days, hours and the Sun: the one place that does arithmetic on them. No rule stands here."""
