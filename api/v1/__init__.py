"""Version 1 of the REST API: one module for each noun; errors and reading are shared."""
