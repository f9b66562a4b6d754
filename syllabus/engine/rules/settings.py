"""What a school says that the rules leave to it, or that no single record shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from syllabus.engine.record.record import Instructor
from syllabus.engine.rules.aircraft_models import NO_MODELS, Models
from syllabus.engine.time.days import Days
from syllabus.engine.time.units import MINUTE

#: Half an hour on the ground beside the time between takeoff and landing: common practice.
TAXI_ALLOWANCE = 30 * MINUTE


@dataclass(frozen=True)
class Settings:
    """Facts and choices of a school that answers depend on; the defaults judge a document as if true.

    ``claims_asked`` names the parts of a record (``endorsements``, ``tests``, ``documents`` …) whose claimed
    entries raise a question instead of counting. ``no_authority`` gives, by an instructor's certificate
    number (else by name), the days on which the school knows that the instructor's authority was missing.
    """

    models: Models = NO_MODELS
    taxi_allowance: int = TAXI_ALLOWANCE
    claims_asked: frozenset[str] = frozenset()
    no_authority: Mapping[str, Days] = field(default_factory=lambda: MappingProxyType({}))

    def lacks_authority(self, instructor: Instructor) -> Days:
        """The days on which the school knows that this instructor's authority was missing."""
        return self.no_authority.get(instructor.certificate or instructor.name, Days.none())


DEFAULT = Settings()
