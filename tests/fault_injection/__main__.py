"""``python -m tests.fault_injection sign-offs``: sign-offs over HTTP while the servers are killed by ``kill
-9``.

``python -m tests.fault_injection audits``: sign-offs over HTTP while audits of their school run in a loop.

``python -m tests.fault_injection reminders``: reminders fall due while workers, beat and broker are killed.

``python -m tests.fault_injection tablet``: lessons signed on a tablet whose network, page, login and server
go away.

``python -m tests.fault_injection audit``: faults of every kind planted in a large school, each to be found.

Starts a PostgreSQL (or uses an SQLite file) and a gunicorn of its own, leaves nothing behind, and ends with 0
where everything that was acknowledged is there, once, and rows and ledger fit each other; with 1 where not.
"""

from __future__ import annotations

import argparse
import os
import pathlib
import sys
import tempfile

from tests.fault_injection import servers
from tests.support import services

NUMBERS = {"sign-offs": 1_000, "audits": 1_000, "reminders": 500, "tablet": 100, "audit": 500}


def arguments(given: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.fault_injection", description=__doc__)
    parser.add_argument("what", choices=list(NUMBERS))
    parser.add_argument(
        "--number",
        type=int,
        help="sign-offs (1,000 each), reminders (500), cycles (100) or faults (500) in all",
    )
    parser.add_argument("--kills", type=int, default=200, help="of workers, beat and broker (default: 200)")
    parser.add_argument("--students", type=int, default=200, help="of the school audited (default: 200)")
    parser.add_argument("--seed", type=int, default=20_261_125, help="of the moments and of whom is killed")
    parser.add_argument("--database", choices=["postgresql", "sqlite"], default="postgresql")
    chosen = parser.parse_args(given)
    chosen.number = chosen.number or NUMBERS[chosen.what]
    if chosen.number < 20:
        parser.error("--number: at least 20, so that there is something to kill")
    return chosen


def main(given: list[str]) -> int:
    chosen = arguments(given)
    if chosen.what == "audit":
        from tests.fault_injection import audit

        return audit.run(chosen.students, chosen.number, chosen.seed, chosen.database)
    folder = pathlib.Path(tempfile.mkdtemp(prefix="training-storm-"))
    with servers.Servers(folder, on=chosen.database) as running:
        # The settings are read once, so the servers come first.
        os.environ.update(running.environment)
        import django

        django.setup()
        from tests.fault_injection import audits, reminders, sign_offs, tablet

        if chosen.what == "tablet":
            return tablet.run(running, chosen.number, chosen.seed)
        if chosen.what == "audits":
            return audits.run(running, chosen.number, chosen.seed)
        if chosen.what == "reminders":
            return reminders.run(running, chosen.number, chosen.kills, chosen.seed)
        return sign_offs.run(running, chosen.number, chosen.seed)


if __name__ == "__main__":
    try:
        sys.exit(main(sys.argv[1:]))
    except services.ServiceError as fault:
        sys.exit(str(fault))
