"""Signing in and out, passwords, passkeys, second factors, sessions: allauth's views behind our own pages."""
