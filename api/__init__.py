"""How it is asked for: the REST API. It has no models; it parses, asks ``training`` and renders."""
