"""How long one report takes, beside one plain pass over the same flights."""

from __future__ import annotations

import datetime as dt
import gc
import statistics
import time
from collections.abc import Callable

from syllabus.engine.record import document as documents
from syllabus.engine.record.record import Record
from syllabus.engine.rules.evaluate import evaluate
from syllabus.law import rulebook
from tests.bench.flights import document

ON = dt.date(2026, 11, 24)
MILESTONE = "faa.private-practical-test"
SIZES = (50, 300, 1_000, 3_000)


def cpu_ms(*works: Callable[[], object], times: int) -> list[float]:
    """Median CPU time of each piece of work, in milliseconds.

    They take turns, for a machine is not as fast at one moment as at another.
    """
    spent: list[list[int]] = [[] for _ in works]
    for _ in range(times):
        for work, before in zip(works, spent, strict=True):
            start = time.process_time_ns()
            work()
            before.append(time.process_time_ns() - start)
    return [statistics.median(each) / 1e6 for each in spent]


def plain_pass(record: Record) -> dict[str, int]:
    """The least a program could do: one loop, one sum for each kind of time."""
    totals: dict[str, int] = {}
    for flight in record.flights:
        for name, amount in flight.times.items():
            totals[name] = totals.get(name, 0) + amount
    return totals


def run() -> None:
    rules = rulebook.current()
    print(f"{MILESTONE}: the report with its days, CPU time (median)")
    print("  flights   plain pass   reading it  ratio   first report      report  ratio   ms per 100 flights")
    for size in SIZES:
        given = document(size)
        # a report derives facts from a record once; so every report gets a record of its own
        records = [documents.parse(given) for _ in range(33)]
        record = records.pop()

        gc.collect()
        gc.freeze()  # the records that wait are this command's own; a caller has one

        def report() -> object:
            return evaluate(rules, records.pop(), MILESTONE, ON).as_json()  # noqa: B023

        def beside(record: Record = record) -> object:
            return plain_pass(record)

        (first,) = cpu_ms(report, times=1)
        usual, plain = cpu_ms(report, beside, times=31)
        reading, plain_too = cpu_ms(lambda given=given: documents.parse(given), beside, times=11)
        print(
            f"  {size:7,}   {plain:7.3f} ms   {reading:7.1f} ms  {reading / plain_too:5.0f}   {first:9.1f} ms"
            f"   {usual:6.2f} ms  {usual / plain:5.0f}   {usual / size * 100:8.2f}"
        )
