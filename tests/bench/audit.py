"""What an audit of a school costs, beside one evaluation of every student in the same run."""

from __future__ import annotations

import gc
import importlib
import time
from collections.abc import Callable

from tests.support import audited
from training import models, reports
from training.reports import audit

SIZES = (50, 100, 200)
FLIGHTS = 150
MILESTONE = "faa.private-practical-test"


def spent(work: Callable[[], object]) -> tuple[float, float]:
    """Seconds of this process, and seconds on the clock."""
    gc.collect()
    cpu, clock = time.process_time(), time.perf_counter()
    work()
    return time.process_time() - cpu, time.perf_counter() - clock


def forget() -> None:
    """Nothing that was read or worked out before is left."""
    kept = importlib.import_module("training.reports.eligibility")  # the name there is the function's
    for name in ("_record", "_rules", "_course", "_report"):
        getattr(kept, name).cache_clear()


def evaluated(school: models.School) -> None:
    """One report for every student: the record is read, and one milestone is evaluated."""
    for student in models.Student.objects.filter(school=school).select_related("school"):
        reports.eligibility(student, MILESTONE, audited.ON)


def run() -> None:
    print(f"an audit beside one {MILESTONE} of every student, {FLIGHTS} flights each")
    print(
        "  students   flights   evaluations, CPU (clock)   audit, CPU (clock)   ratio, CPU   ms per student"
    )
    for number, size in enumerate(SIZES):
        made = audited.school(size, number, flights=FLIGHTS)
        audited.stored(made)
        flights = models.Flight.objects.filter(school=made.school).count()
        forget()
        one, one_clock = spent(lambda school=made.school: evaluated(school))
        forget()
        at = audited.evening(audited.ON)
        found: list[object] = []

        def work(
            school: models.School = made.school,
            at: object = at,
            found: list[object] = found,
        ) -> None:
            found.extend(audit.audit(school, audited.ON, at=at))  # type: ignore[arg-type]

        whole, whole_clock = spent(work)
        assert not found, found[0]
        print(
            f"  {size:8}   {flights:7,}   {one:10.2f} s ({one_clock:.2f} s)"
            f"   {whole:10.2f} s ({whole_clock:.2f} s)"
            f"   {whole / one:10.2f}   {whole / size * 1000:14.1f}"
        )
