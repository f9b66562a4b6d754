"""Version 1 of the REST API, with a module for each resource."""
