"""A school's aircraft with their inspections and certificates, which are recorded and never edited."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet

from syllabus.engine.errors import InputError
from syllabus.engine.record.reading import Errors
from syllabus.law import airworthiness
from training.models import Aircraft, AircraftCheck, School, User
from training.services import access
from training.services.errors import Conflict, errors_of, find

_CRAFT = ("model", "category", "klass", "device")


class AircraftError(InputError):
    """The aircraft, or its inspection or certificate, is not valid as it was sent."""

    what = "the aircraft"


@dataclass(frozen=True, slots=True)
class Added:
    """The aircraft, and whether this call created it."""

    aircraft: Aircraft
    created: bool


def schools(user: User) -> QuerySet[School]:
    """The schools whose aircraft a user sees: those where the user instructs or administers."""
    return access.schools(user, access.STAFF)


@transaction.atomic
def add(school: str, fields: Mapping[str, Any], *, by: User) -> Added:
    """Add an aircraft or training device to a school. Sending the same again returns the first one.

    ``fields``: registration, model, category, klass, device, as ``Aircraft`` has them.

    Raises: NotAllowed; AircraftError with every error; Conflict if another has that registration.
    """
    at = access.locked_school(by, "keep aircraft", school)
    stands = Aircraft.objects.filter(school=at, registration=fields["registration"]).first()
    made = Aircraft(school=at, **fields)
    if stands is not None:
        if any(getattr(stands, key) != getattr(made, key) for key in _CRAFT):
            raise Conflict(f"{stands.registration} is already listed, with other details.")
        return Added(stands, created=False)
    try:
        made.full_clean(exclude=["school"])
    except ValidationError as wrong:
        raise AircraftError(errors_of(wrong)) from None
    made.save()
    return Added(made, created=True)


@transaction.atomic
def record(
    aircraft: int, kind: str, done: dt.date, expires: dt.date | None, *, by: User, at: dt.datetime
) -> AircraftCheck:
    """Record an inspection or a certificate of an aircraft; it replaces the last one of its kind.

    Sending the same again returns the first one, so that a call whose answer was lost can be repeated.

    Raises: NotFound if the user may not see it; NotAllowed if the user does not administer its school;
            AircraftError with every error.
    """
    craft = find(
        Aircraft.objects.select_related("school"), "aircraft of that id", pk=aircraft, school__in=schools(by)
    )
    school = access.locked_school(by, "keep aircraft", craft.school.slug)
    Aircraft.objects.select_for_update(no_key=True).get(pk=craft.pk)
    _errors(craft, kind, done, expires, school.day(at)).stop(AircraftError)
    newest = AircraftCheck.objects.filter(aircraft=craft, kind=kind).order_by("-pk").first()
    if newest is not None and (newest.done, newest.expires) == (done, expires):
        return newest
    return AircraftCheck.objects.create(
        school=school, aircraft=craft, kind=kind, done=done, expires=expires, recorded_at=at, by=by
    )


def _errors(craft: Aircraft, kind: str, done: dt.date, expires: dt.date | None, today: dt.date) -> Errors:
    found, kinds = Errors(), airworthiness.current()
    if craft.device:
        found.add("", f"{craft.registration} is a training device ({craft.device}), not an aircraft")
    if kind not in kinds:
        found.add("kind", f"{kind!r} is not one of {', '.join(kinds)}")
    elif expires is None and kinds.on(kind, today).get("life") is None:
        found.add("expires", f"is missing; enter the last day that is written on the {kind}")
    if done > today:
        found.add("done", f"{done} is after today at the school, {today}")
    if expires is not None and expires < done:
        found.add("expires", f"{expires} is before {done}, the day it was done")
    return found
