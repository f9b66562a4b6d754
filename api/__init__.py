"""The REST API. It has no models: it parses requests, calls ``training`` and renders the answers."""
