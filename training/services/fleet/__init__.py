"""The school's aircraft and training devices: what each is, and what of it expires."""
