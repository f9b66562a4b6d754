"""What the page cache holds, for tests that look into it."""

from django.db import connection

from training.services.records.page_cache import CACHE, TABLE


def cached(page: str = "") -> dict[str, str]:
    """The HTML of every cached part, or of one page's, by its key (``student:page:language:variant``)."""
    return {key: body for key, (_, body) in _values(page).items()}


def say(text: str, page: str = "") -> int:
    """Every part that is cached, or of one page, says this text from now on; how many there are."""
    values = _values(page)
    for key, (state, _) in values.items():
        CACHE.set(key, (state, text))
    return len(values)


def _values(page: str) -> dict[str, tuple[str, str]]:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT cache_key FROM {TABLE} ORDER BY cache_key")
        keys = [key.removeprefix(CACHE.make_key("")) for (key,) in cursor.fetchall()]
    found: dict[str, tuple[str, str]] = CACHE.get_many(
        [key for key in keys if page in ("", key.split(":")[1])]
    )
    return found
