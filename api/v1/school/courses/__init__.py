"""The serializers and views of courses."""
