"""The serializers and views of lesson records."""
