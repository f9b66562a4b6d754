"""Solo releases: lines, weather, wind."""
