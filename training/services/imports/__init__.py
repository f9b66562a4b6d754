"""Flights out of a spreadsheet."""
