"""Login, passwords, passkeys, second factors and sessions: allauth's views with our own pages."""
