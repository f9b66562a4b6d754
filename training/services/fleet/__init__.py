"""The school's aircraft and training devices, and their expirations."""
