"""The serializers and views of solo releases."""
