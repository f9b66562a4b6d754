"""Counts against limits as one more worker of the server would: a process of its own.

Arguments: the name of the test's database, a key, and how often.
"""

from __future__ import annotations

import os
import sys


def main(name: str, key: str, times: str) -> None:
    import django
    from django.conf import settings

    settings.DATABASES["default"]["NAME"] = name
    django.setup()
    from training.services import limits

    print(*[limits.count(key, 60) for _ in range(int(times))])


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "training.config.settings")
    main(*sys.argv[1:])
