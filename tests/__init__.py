"""The tests. ``python3 manage.py test`` runs them on a real PostgreSQL and Valkey, then on SQLite."""
