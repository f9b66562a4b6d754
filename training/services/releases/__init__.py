"""Solo releases: asked for, checked, decided, ended."""
