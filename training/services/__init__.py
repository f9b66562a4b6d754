"""Services write: each is one transaction."""
