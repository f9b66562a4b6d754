"""Kinds of requirement: one pure function each, values in, a Finding out; no number of the law in them."""

from syllabus.engine.rules.kinds import (
    cross_country,
    documents,
    endorsements,
    flights,
    items,
    landings,
    milestones,
    tests,
    times,
)
from syllabus.engine.rules.kinds.registry import KINDS, Kind, Param

__all__ = [
    "KINDS", "Kind", "Param", "cross_country", "documents", "endorsements", "flights", "items", "landings",
    "milestones", "tests", "times",
]  # fmt: skip
