"""A lesson from its plan to its signature, acknowledgement and correction."""
