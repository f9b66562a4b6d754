"""Findings of audits: stored, resolved and exported."""
