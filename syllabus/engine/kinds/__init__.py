"""Kinds of requirement: one pure function each, values in, a Finding out; no number of the law in them."""

from syllabus.engine.kinds import endorsements, flights, items, papers, tests, times
from syllabus.engine.kinds.registry import KINDS, Kind, Param

__all__ = ["KINDS", "Kind", "Param", "endorsements", "flights", "items", "papers", "tests", "times"]
