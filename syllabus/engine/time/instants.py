"""Instants in words of a program."""

from datetime import UTC, datetime


def in_utc(at: datetime) -> str:
    """An instant as the API and files write it (RFC 3339), in UTC.

    >>> in_utc(datetime.fromisoformat("2026-03-02T13:40:00-06:00"))
    '2026-03-02T19:40:00Z'
    """
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z")
