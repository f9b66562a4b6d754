"""What a stored record means: milestones, progress, the next lesson. Reads only, decides nothing."""

from training.reports.eligibility import (
    Gap,
    Lapse,
    Overview,
    Refused,
    Short,
    eligibility,
    eligibility_json,
    overview,
    rules_of,
)
from training.reports.lapses import Ending, Whole, endings

__all__ = [
    "Ending",
    "Gap",
    "Lapse",
    "Overview",
    "Refused",
    "Short",
    "Whole",
    "eligibility",
    "eligibility_json",
    "endings",
    "overview",
    "rules_of",
]
