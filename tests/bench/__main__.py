"""``python -m tests.bench [engine] [http] [http-sqlite] [throughput] [sign-offs] [sweep] [audit] [pages]
[pages-sqlite]``: all without a word.

``engine``: one report, beside one plain pass over its flights. ``http``, ``http-sqlite``: the endpoint,
beside a bare one. ``throughput``: the same by gunicorn, from 16 to 200 clients. ``sign-offs``: sign-offs a
second on PostgreSQL, beside bare INSERTs of the same rows, at 1,000, 10,000 and 100,000 ledger entries (some
minutes). ``sweep``: a sweep of reminders with the same number due, at 1,000 and 1,000,000 endorsements (some
minutes). ``audit``: the audit of a school, beside one evaluation of every student (some minutes). ``pages``,
``pages-sqlite``: the student's pages in a school of 500, beside a bare one (many minutes; BENCH_STUDENTS=50
for a look).
"""

from __future__ import annotations

import os
import sys
import tempfile

PARTS = (
    "engine", "http", "http-sqlite", "throughput", "sign-offs", "sweep", "audit", "pages", "pages-sqlite",
)  # fmt: skip


def own_database(address: str) -> str:
    """A database that the plain role owns; in the one it signs in to it may create no tables."""
    import psycopg

    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute("CREATE DATABASE bench")
    return f"{address.rpartition('/')[0]}/bench"


def migrated(database: str) -> None:
    """Django on a database of its own, with its tables."""
    os.environ["DATABASE_URL"] = database
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "training.config.settings")
    os.environ.setdefault("SECRET_KEY", "a bench on this machine needs no secret " + "x" * 20)
    os.environ.setdefault("HTTPS", "0")
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0, interactive=False)


def http(database: str) -> None:
    """The endpoint's bench in a database of its own, made and dropped here."""
    migrated(database)
    from django.conf import settings
    from django.test.utils import override_settings

    with override_settings(ROOT_URLCONF="tests.bench.http", ALLOWED_HOSTS=["*"], DEBUG=False):
        assert settings.ROOT_URLCONF == "tests.bench.http"
        from tests.bench import http as bench

        bench.run()


def throughput(database: str) -> None:
    """The server's bench, likewise."""
    migrated(database)
    from tests.bench import throughput as bench

    bench.run()


def sign_offs(database: str) -> None:
    """The bench of signing, likewise."""
    migrated(database)
    from tests.bench import sign_offs as bench

    bench.run()


def sweep(database: str) -> None:
    """The bench of the sweep, likewise."""
    migrated(database)
    from tests.bench import sweep as bench

    bench.run()


def audit(database: str) -> None:
    """The bench of an audit, likewise."""
    migrated(database)
    from tests.bench import audit as bench

    bench.run()


def pages(database: str) -> None:
    """The bench of the student's pages, likewise."""
    migrated(database)
    from django.test.utils import override_settings

    with override_settings(ROOT_URLCONF="tests.bench.pages", ALLOWED_HOSTS=["*"], DEBUG=False):
        from tests.bench import pages as bench

        bench.run()


def main(wanted: list[str]) -> None:
    if unknown := [word for word in wanted if word not in PARTS]:
        sys.exit(f"no part is called {', '.join(unknown)}; there are {', '.join(PARTS)}")
    for part in wanted or PARTS:
        if part == "engine":
            from tests.bench import engine

            engine.run()
        elif len(wanted) != 1:
            # settings are read once in a process, so each database has one of its own
            import subprocess

            subprocess.run([sys.executable, "-m", "tests.bench", part], check=True)
        elif part in ("http", "throughput", "sign-offs", "sweep", "audit", "pages"):
            from tests.support import services

            with services.running(redis=False, settings="") as addresses:
                runs = {
                    "http": http,
                    "throughput": throughput,
                    "sign-offs": sign_offs,
                    "sweep": sweep,
                    "audit": audit,
                    "pages": pages,
                }
                runs[part](own_database(addresses.database_url))
        else:
            with tempfile.TemporaryDirectory() as folder:
                runs = {"http-sqlite": http, "pages-sqlite": pages}
                runs[part](f"sqlite:///{folder}/bench.sqlite3")


if __name__ == "__main__":
    main(sys.argv[1:])
