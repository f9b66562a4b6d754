"""What all resources of the API use: base view and serializer, errors, authentication, description."""
