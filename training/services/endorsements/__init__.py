"""Endorsements: what one rests on, who may give it, its signature and its end."""
