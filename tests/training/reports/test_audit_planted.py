"""Every planted fault is found, and nothing else: a small school here, a large one in
``tests.fault_injection``."""

from __future__ import annotations

import pytest

from tests.support import audited, planting
from training.services.audit import findings

SEED = 20_261_125


@pytest.fixture(scope="module")
def flights() -> int:
    return audited.LEAST + 6


# test_erasure_traces, test_provenance and test_sweeping make these queries on SQLite
@pytest.mark.any_database
@pytest.mark.django_db
def test_a_school_without_a_fault_has_no_finding(flights: int) -> None:
    made = audited.school(3, SEED, flights=flights)
    audited.stored(made)
    done = findings.recompute(made.school, audited.ON, at=audited.evening(audited.ON), by=None, via="test")
    assert [(each.kind, each.body["says"]) for each in done.standing] == []
    assert done.run.students == 3


# test_erasure_traces, test_provenance and test_sweeping make these queries on SQLite
@pytest.mark.any_database
@pytest.mark.django_db
def test_every_planted_fault_is_found_and_nothing_else(flights: int) -> None:
    made = audited.school(24, SEED, flights=flights)
    planted, counted = planting.plant(made, 60)
    assert set(counted) == set(planting.FAULTS)
    done = findings.recompute(made.school, audited.ON, at=audited.evening(audited.ON), by=None, via="test")
    told = planting.compared(planted, done.standing)
    assert told.missed == ()
    assert [(each.kind, str(each.student), each.body["says"]) for each in told.beside] == []
    assert (told.precision, told.recall, told.matched) == (1, 1, 60)
