"""What a stored record means: milestones, progress, the next lesson. Reads only, decides nothing."""

from training.reports.eligibility import (
    Gap,
    Lapse,
    Overview,
    Short,
    eligibility,
    eligibility_json,
    overview,
)

__all__ = ["Gap", "Lapse", "Overview", "Short", "eligibility", "eligibility_json", "overview"]
