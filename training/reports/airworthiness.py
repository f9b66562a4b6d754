"""Expirations of a school's aircraft: the newest check of each kind, and its last day by the rule."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Max

from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.law import airworthiness
from training.models import Aircraft, AircraftCheck, School


@dataclass(frozen=True, slots=True)
class Held:
    """The newest inspection or certificate of one kind; ``last`` is its last day, hours in service aside."""

    check: AircraftCheck
    version: RuleVersion
    last: dt.date

    @property
    def says(self) -> str:
        title: str = self.version.params["title"]
        return title


def held(schools: Iterable[School | int], on: dt.date) -> list[Held]:
    """The newest check of each kind for the aircraft of these schools, by the rules of a day, sorted by last
    day.

    One query.

    Raises: NotInForce if a rule has no version on the day.
    """
    kinds = airworthiness.current()
    newest = (
        AircraftCheck.objects.filter(school__in=list(schools), kind__in=kinds)
        .order_by()
        .values("aircraft", "kind")
        .annotate(newest=Max("pk"))
        .values("newest")
    )
    found = []
    for each in AircraftCheck.objects.filter(pk__in=newest).select_related("aircraft", "by"):
        version = kinds.on(each.kind, on)
        last = airworthiness.last_day(version, each.done, each.expires)
        if last is not None:
            found.append(Held(each, version, last))
    return sorted(found, key=lambda each: (each.last, each.check.aircraft.registration, each.version.id))


def by_aircraft(school: School, on: dt.date) -> list[tuple[Aircraft, list[Held]]]:
    """Every aircraft and device of a school, each with its inspections and certificates. Two queries."""
    found: dict[int, list[Held]] = {}
    for each in held([school], on):
        found.setdefault(each.check.aircraft_id, []).append(each)
    return [(each, found.get(each.pk, [])) for each in Aircraft.objects.filter(school=school)]
