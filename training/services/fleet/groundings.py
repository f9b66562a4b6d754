"""Grounds an aircraft or notes a defect of it, and returns it to service. Any member of the staff may."""

import datetime as dt
from collections import defaultdict

from django.db import transaction

from training.models import Aircraft, Grounding, School, User
from training.services import access, texts
from training.services.errors import Conflict, find
from training.services.fleet import aircraft as fleets
from training.services.fleet.aircraft import AircraftError


def open_at(school: School | int) -> dict[int, list[Grounding]]:
    """Open groundings and defects of a school by the key of the aircraft, newest first. One query."""
    found = defaultdict(list)
    rows = Grounding.objects.filter(school=school, ended_at__isnull=True).select_related("by", "aircraft")
    for each in rows:
        found[each.aircraft_id].append(each)
    return found


@transaction.atomic
def ground(aircraft: int, kind: str, reason: str, *, by: User, at: dt.datetime) -> Grounding:
    """Ground an aircraft, or note an open defect. Sending the same again returns the open one.

    Raises: NotFound if the user may not see it; AircraftError with every error.
    """
    craft = _locked(aircraft, by)
    if kind not in Grounding.Kind:
        raise AircraftError.at("kind", f"{kind!r} is not one of {', '.join(Grounding.Kind)}")
    reason = texts.needed(AircraftError, "reason", reason, "write what is wrong")
    same = Grounding.objects.filter(aircraft=craft, kind=kind, reason=reason, ended_at__isnull=True).first()
    return same or Grounding.objects.create(
        school=craft.school, aircraft=craft, kind=kind, reason=reason, by=by, at=at
    )


@transaction.atomic
def end(grounding: Grounding, reason: str, *, by: User, at: dt.datetime) -> Grounding:
    """End a grounding or a defect. Sending the same again returns it.

    Raises: NotFound; AircraftError without a reason; Conflict if it was ended for another reason.
    """
    _locked(grounding.aircraft_id, by)
    found = Grounding.objects.select_related("aircraft", "school").get(pk=grounding.pk)
    reason = texts.needed(AircraftError, "reason", reason, "write what was done")
    if found.ended_at is not None:
        if (found.ended_by_id, found.ended_reason) == (by.pk, reason):
            return found
        raise Conflict(f"It ended on {found.school.day(found.ended_at)}: {found.ended_reason}")
    found.ended_at, found.ended_by, found.ended_reason = max(at, found.at), by, reason
    found.save(update_fields=["ended_at", "ended_by", "ended_reason"])
    return found


def _locked(aircraft: int, by: User) -> Aircraft:
    craft = find(
        Aircraft.objects.select_related("school"),
        "aircraft of that id",
        pk=aircraft,
        school__in=fleets.schools(by),
    )
    access.require(by, "ground aircraft", craft.school.slug)
    Aircraft.objects.select_for_update(no_key=True).get(pk=craft.pk)
    return craft
