"""Endorsements: requirements, signing authority, signature and revocation."""
