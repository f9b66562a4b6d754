"""Endorsements given here."""
