"""A school's settings, and what only its tables show, in the form that the engine takes."""

import datetime as dt
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from syllabus.engine.rules.settings import Settings
from syllabus.engine.time.days import Days
from syllabus.engine.time.units import MINUTE
from training.models import Role, School
from training.record.aircraft_models import links_of

ONE_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, eq=False)
class Chosen:
    """A school's settings as one object: the same choices give the same object."""

    settings: Settings = field(repr=False)


def of(school: School) -> Settings:
    """The settings under which the engine judges a school's stored records. Queries: as ``chosen``."""
    return chosen(school).settings


def chosen(school: School) -> Chosen:
    """The same, as a cache key.

    Queries: two for each state of the school's rules; none after the first call.
    """
    claims = tuple(sorted(school.claims_asked))
    return _chosen(school.pk, school.rules_version, claims, school.taxi_allowance_minutes)


@lru_cache(maxsize=256)
def _chosen(school: int, state: uuid.UUID | None, claims: tuple[str, ...], taxi_minutes: int) -> Chosen:
    """The settings of one state of a school; any change of the rows they come from gives a new state."""
    return Chosen(
        Settings(
            models=links_of(school),
            taxi_allowance=taxi_minutes * MINUTE,
            claims_asked=frozenset(claims),
            no_authority=_no_authority(school),
        )
    )


def _no_authority(school: int) -> Mapping[str, Days]:
    """By certificate number, the days on which the school knows that an instructor could no longer sign."""
    ended = Role.objects.filter(
        school_id=school,
        role=Role.Kind.INSTRUCTOR,
        certificate__gt="",
        recent_experience_until__isnull=False,
    )
    return {
        certificate: Days.starting(last + ONE_DAY)
        for certificate, last in ended.values_list("certificate", "recent_experience_until")
        if last is not None
    }
