"""What every noun of the API uses: the base view and serializer, errors, signing in, the description."""
