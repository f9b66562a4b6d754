"""Lessons from the plan to signature, acknowledgement and correction."""
