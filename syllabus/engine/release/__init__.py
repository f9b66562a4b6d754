"""May this student take this airplane alone on this flight now? Lines, each met, not met or unknown."""
