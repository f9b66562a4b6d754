"""Django's cache in the database, with signed JSON instead of pickles."""

import contextlib
import datetime as dt
from collections.abc import Iterable
from typing import Any

from django.core import signing
from django.core.cache.backends.base import DEFAULT_TIMEOUT
from django.core.cache.backends.db import DatabaseCache
from django.db import connection
from django.utils import timezone

#: When what has no timeout expires.
NEVER = dt.datetime(9999, 12, 31, tzinfo=dt.UTC)


class SignedCache(DatabaseCache):
    """A value that this server did not sign for its key counts as absent.

    A web process has the ledger's key. So whoever can write to the database must not run code there by a
    pickle, nor put a script into a cached page. Each call is one statement, and nothing is culled: keys are
    bounded by what there is.
    """

    _table: str

    def get_many(self, keys: Iterable[Any], version: int | None = None) -> dict[Any, Any]:
        asked = {self.make_and_validate_key(key, version=version): key for key in keys}
        if not asked:
            return {}
        places, found = ", ".join(["%s"] * len(asked)), {}
        with connection.cursor() as cursor:
            cursor.execute(
                f"SELECT cache_key, value FROM {self._table} WHERE cache_key IN ({places}) AND expires > %s",  # noqa: S608
                [*asked, _instant(timezone.now())],
            )
            for made, written in cursor.fetchall():
                with contextlib.suppress(signing.BadSignature):
                    found[asked[made]] = signing.loads(written, salt=made)
        return found

    def _base_set(self, mode: str, key: str, value: Any, timeout: float | None = DEFAULT_TIMEOUT) -> bool:
        """What ``set``, ``add`` and ``touch`` share; whether a row was written."""
        ends = self.get_backend_timeout(timeout)
        until = _instant(NEVER if ends is None else dt.datetime.fromtimestamp(ends, dt.UTC))
        now = _instant(timezone.now())
        with connection.cursor() as cursor:
            if mode == "touch":
                cursor.execute(
                    f"UPDATE {self._table} SET expires = %s WHERE cache_key = %s AND expires > %s",  # noqa: S608
                    [until, key, now],
                )
            else:
                only = f" WHERE {self._table}.expires <= %s" if mode == "add" else ""
                cursor.execute(
                    f"INSERT INTO {self._table} (cache_key, value, expires) VALUES (%s, %s, %s)"  # noqa: S608
                    " ON CONFLICT (cache_key) DO UPDATE"
                    f" SET value = excluded.value, expires = excluded.expires{only}",
                    [key, signing.dumps(value, salt=key, compress=True), until, *([now] if only else [])],
                )
            return bool(cursor.rowcount)


def _instant(at: dt.datetime) -> Any:
    """An instant as the column holds it, in whole seconds as Django's own backend."""
    return connection.ops.adapt_datetimefield_value(at.replace(microsecond=0))
