"""The serializers and views of endorsements."""
