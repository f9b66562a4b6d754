"""What a school chose, and what only its tables show, as the engine takes it for stored records."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from syllabus.engine import settings as engine
from syllabus.engine.settings import Settings
from syllabus.engine.units import MINUTE
from training.models import School

#: Whose claimed entries are asked about instead of counted, unless the school says otherwise: an endorsement,
#: a test or a document that nobody vouches for is worth no more than whoever typed it.
CLAIMS_ASKED = ("documents", "endorsements", "tests")


@dataclass(frozen=True, eq=False)
class Chosen:
    """A school's settings, told from others as an object: the same choices are the same object."""

    settings: Settings = field(repr=False)


def of(school: School) -> Settings:
    """The settings under which a school's stored records are judged. Queries: none."""
    return chosen(school).settings


def chosen(school: School) -> Chosen:
    """The same, to keep what was worked out under them."""
    claims: Any = getattr(school, "claims_asked", None)
    minutes: Any = getattr(school, "taxi_allowance_minutes", None)
    return _chosen(CLAIMS_ASKED if claims is None else tuple(sorted(claims)), minutes)


@lru_cache(maxsize=256)
def _chosen(claims: tuple[str, ...], taxi_minutes: int | None) -> Chosen:
    taxi = engine.TAXI_ALLOWANCE if taxi_minutes is None else taxi_minutes * MINUTE
    return Chosen(Settings(taxi_allowance=taxi, claims_asked=frozenset(claims)))
