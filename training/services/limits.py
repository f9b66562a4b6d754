"""How often something was done lately, counted for all workers together, and from which address it was.

An embedded copy is one process and counts in its memory; elsewhere the counts are rows of the database, so
that no other server is needed.
"""

import datetime as dt
import hashlib
import ipaddress

from django.conf import settings
from django.core.cache import caches
from django.db import connection
from django.http import HttpRequest
from django.utils import timezone

from training.services.signed_cache import SignedCache

TABLE = settings.LIMITS_TABLE
#: An IPv6 subscriber has at least this network.
_PREFIX = 64


class Backend(SignedCache):
    """The cache in the database, which also counts in one statement: of calls at one time none is lost."""

    def count(self, key: str, seconds: int, by: int) -> int:
        now = timezone.now().replace(microsecond=0)
        at, until = map(connection.ops.adapt_datetimefield_value, (now, now + dt.timedelta(seconds=seconds)))
        with connection.cursor() as cursor:
            cursor.execute(
                f"INSERT INTO {TABLE} AS t (cache_key, value, expires) VALUES (%s, %s, %s)"  # noqa: S608
                " ON CONFLICT (cache_key) DO UPDATE SET"
                " value = CASE WHEN t.expires <= %s THEN excluded.value"
                " ELSE CAST(CAST(t.value AS integer) + CAST(excluded.value AS integer) AS text) END,"
                " expires = CASE WHEN t.expires <= %s THEN excluded.expires ELSE t.expires END"
                " RETURNING value",
                [self.make_and_validate_key(key), str(by), until, at, at],
            )
            return int(cursor.fetchone()[0])


def count(key: str, seconds: int, by: int = 1) -> int:
    """Count one more under a key; returns how many there were since the first, at most ``seconds`` ago."""
    cache = caches["default"]
    if isinstance(cache, Backend):
        return cache.count(key, seconds, by)
    cache.add(key, 0, seconds)
    try:
        return cache.incr(key, by)
    except ValueError:  # it ran out in between
        return by


def digest(text: str) -> str:
    """A text of any length and any characters, as part of a key."""
    return hashlib.sha256(text.encode("utf-8", "backslashreplace")).hexdigest()


def forget() -> None:
    """Remove what has run out."""
    if isinstance(caches["default"], Backend):
        now = connection.ops.adapt_datetimefield_value(timezone.now().replace(microsecond=0))
        with connection.cursor() as cursor:
            cursor.execute(f"DELETE FROM {TABLE} WHERE expires < %s", [now])  # noqa: S608


def address(request: HttpRequest) -> str:
    """The address that a request came from, in one spelling.

    Of ``X-Forwarded-For`` that is the entry which the outermost of our proxies added. Where there are fewer
    than we have proxies, or it is no address, it is that of whoever is connected.
    """
    nearest = request.META.get("REMOTE_ADDR", "")
    hops = request.headers.get("X-Forwarded-For", "").split(",")
    behind = settings.NUM_PROXIES
    return (_read(hops[-behind]) if 0 < behind <= len(hops) else "") or _read(nearest) or nearest


def network(request: HttpRequest) -> str:
    """What is counted together: an IPv4 address, or an IPv6 network."""
    found = address(request)
    return str(ipaddress.ip_network(f"{found}/{_PREFIX}", strict=False)) if ":" in found else found


def _read(text: str) -> str:
    """``203.0.113.7`` for `` ::ffff:203.0.113.7`` and ``203.0.113.7:4711``; empty for what is no address."""
    host = text.strip()
    if host.startswith("["):
        host = host[1:].partition("]")[0]
    elif host.count(":") == 1:
        host = host.partition(":")[0]
    try:
        found = ipaddress.ip_address(host.partition("%")[0])
    except ValueError:
        return ""
    return str(getattr(found, "ipv4_mapped", None) or found)
