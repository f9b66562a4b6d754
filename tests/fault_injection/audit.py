"""An audit of a large invented school with faults of every kind planted: all found, nothing else told."""

from __future__ import annotations

import contextlib
import pathlib
import tempfile
import time
from collections import Counter
from collections.abc import Iterator

from tests.bench.__main__ import migrated, own_database
from tests.support import services


@contextlib.contextmanager
def database(kind: str) -> Iterator[None]:
    """Django on an empty database of its own."""
    with contextlib.ExitStack() as held:
        if kind == "sqlite":
            folder = pathlib.Path(held.enter_context(tempfile.TemporaryDirectory()))
            migrated(f"sqlite:///{folder / 'storm.sqlite3'}")
        else:
            addresses = held.enter_context(services.running(redis=False))
            migrated(own_database(addresses.database_url))
        yield
        from django.db import connections

        connections.close_all()


def run(students: int, faults: int, seed: int, kind: str) -> int:
    """Plant, audit, compare; 0 where precision and recall are both one."""
    with database(kind):
        from tests.support import audited, planting
        from training import models
        from training.services.audit import findings

        began = time.perf_counter()
        made = audited.school(students, seed)
        planted, counted = planting.plant(made, faults)
        flights = models.Flight.objects.filter(school=made.school).count()
        print(
            f"{kind}, seed {seed}: {students} students, {flights:,} flights, {len(planted)} faults planted in"
            f" {time.perf_counter() - began:.0f} s"
        )
        began = time.perf_counter()
        at = audited.evening(audited.ON)
        done = findings.recompute(made.school, audited.ON, at=at, by=None, via="test")
        seconds = time.perf_counter() - began
        told = planting.compared(planted, done.standing)
        for name, often in sorted(counted.items()):
            print(f"  {often:4} {name.replace('_', ' ')}")
        by_kind = Counter(each.kind for each in done.standing)
        print(f"found in {seconds:.1f} s: {', '.join(f'{n} {kind}' for kind, n in sorted(by_kind.items()))}")
        for each in told.missed:
            print(f"MISSED {each}")
        for found in told.beside:
            print(f"BESIDE {found.kind} {found.student or found.instructor}: {found.body['says']}")
        print(
            f"precision {told.precision:.4f} ({len(told.beside)} beside), recall {told.recall:.4f}"
            f" ({len(told.missed)} missed) of {len(planted)}"
        )
        whole = not told.missed and not told.beside and len(planted) == faults
        return 0 if whole else 1
