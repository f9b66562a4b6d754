"""What is written: each service is one transaction."""
