"""The rules engine: plain values in, a report out. No Django, no clock, no database."""
