"""What an error of the database is called, which transactions run again, and the one order of locks.

**The order of locks.** A transaction locks rows from the top of this list to the bottom, and rows of one
table in the order of their keys:

1. an account (``User``) and its authenticators
2. a school: its row also stands for every change of its people, its rules and its findings
3. what belongs to a school: roles, assignments, guardians, aircraft, findings, courses and their versions
4. a student: the row stands for the whole record; its writers lock it before they read
5. what belongs to a student: lesson records, enrolments, entries, holds, notices, deliveries
6. the head of the school's ledger, which every seal grows
7. what triggers write: the student's version (locked by 4 already), then ``Stale``

**The weakest lock that serves** is FOR NO KEY UPDATE of the row itself (``no_key=True``; with joins
``of=("self",)``). It keeps out every other writer who locks. It lets in a row that only refers to this one:
at the commit a foreign key takes FOR KEY SHARE of the school and the student. FOR UPDATE would block that,
and an audit and a sign-off would each wait for the other: ``tests/repository/test_locks.py``.

A transaction that the database still ends for another one's sake is run again by ``run_again``.
"""

import datetime as dt
import functools
import logging
import random
import time
from collections.abc import Callable
from typing import ParamSpec, TypeVar

from django.db import DatabaseError, InterfaceError, OperationalError, connection
from prometheus_client import Counter

P = ParamSpec("P")
R = TypeVar("R")
log = logging.getLogger(__name__)

#: Names by SQLSTATE, the whole one before its class. Source: PostgreSQL's appendix of error codes.
NAMES = {
    "08": "the connection failed",
    "25006": "read-only",
    "28": "the login was refused",
    "3D000": "no such database",
    "40001": "serialization failure",
    "40P01": "deadlock",
    "53100": "disk full",
    "53200": "out of memory",
    "53300": "too many connections",
    "53": "out of resources",
    "55P03": "lock timeout",
    "57014": "statement timeout",
    "57P01": "shut down by an administrator",
    "57P02": "restarted after a crash",
    "57P03": "starting up or shutting down",
    "58": "a system error of the database server",
    # SQLite's own names of the same.
    "SQLITE_BUSY": "lock timeout",
    "SQLITE_FULL": "disk full",
    "SQLITE_IOERR": "a system error of the database server",
    "SQLITE_READONLY": "read-only",
    "SQLITE_CANTOPEN": "no such database",
}
UNKNOWN = "unknown"
#: What libpq says where no server told a SQLSTATE: the connection was never made, or was cut.
_WORDS = {
    "too many c": "53300",  # "clients already", "connections for role"
    "remaining connection slots": "53300",
    "authentication failed": "28P01",
    'role "': "28000",
    "does not exist": "3D000",
    "starting up": "57P03",
    "shutting down": "57P03",
}
#: These end a transaction for another one's sake. Nothing of it is left, so it can be run again whole.
_AGAIN = ("40001", "40P01")
#: Seconds between tries. Each is drawn from half to one and a half, so that two do not meet again.
PAUSES = (0.05, 0.1, 0.2, 0.4, 0.8)

FAULTS = Counter("training_database_errors_total", "Errors of the database, by name.", ["error"])
AGAIN = Counter("training_transactions_run_again_total", "Transactions that were run again.", ["error"])


def code_of(fault: BaseException | None) -> str:
    """The SQLSTATE, or SQLite's name, of an error or of what it came from; empty if it has none."""
    if fault is None:
        return ""
    code = getattr(fault, "sqlstate", None) or getattr(fault, "sqlite_errorname", None)
    return str(code) if code else code_of(fault.__cause__)


def name_of(fault: BaseException) -> str:
    """What a database's error is called, for log, metrics and ``/readyz``: never the words of the server,
    which may quote a row."""
    code = code_of(fault)
    if not code and isinstance(fault, OperationalError | InterfaceError):
        said = str(fault)
        code = next((code for words, code in _WORDS.items() if words in said), "08006")
    for known in (code, code[:5], code[:2], *(each for each in NAMES if code.startswith(f"{each}_"))):
        if known in NAMES:
            return NAMES[known]
    return UNKNOWN


def note(fault: DatabaseError | InterfaceError) -> str:
    """Count a database's error among the metrics. Returns its name."""
    name = name_of(fault)
    FAULTS.labels(name).inc()
    return name


def now() -> dt.datetime:
    """What time it is by the database server's clock. SQLite has none of its own: by this process's."""
    if connection.vendor != "postgresql":
        return dt.datetime.now(dt.UTC)
    with connection.cursor() as cursor:
        cursor.execute("SELECT clock_timestamp()")
        found: dt.datetime = cursor.fetchone()[0]
    return found


def run_again(work: Callable[P, R]) -> Callable[P, R]:
    """A decorator for a whole transaction that may be run again where the database ended it for another one.

    Inside a caller's transaction nothing is tried again, for that one ended too.
    """

    @functools.wraps(work)
    def whole(*args: P.args, **kwargs: P.kwargs) -> R:
        for pause in PAUSES:
            try:
                return work(*args, **kwargs)
            except OperationalError as fault:
                if connection.in_atomic_block or code_of(fault) not in _AGAIN:
                    raise
                AGAIN.labels(note(fault)).inc()
                log.warning("%s is run again: %s", work.__qualname__, name_of(fault))
            time.sleep(pause * random.uniform(0.5, 1.5))  # noqa: S311  (a pause is no secret)
        return work(*args, **kwargs)

    return whole
