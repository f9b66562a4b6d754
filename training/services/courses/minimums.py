"""What a school asks for beyond the law: set by its administrators, ended and never deleted."""

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import transaction
from django.db.models import QuerySet

from syllabus.engine.errors import Fault, FaultsFound
from syllabus.engine.record import reading
from syllabus.engine.record.reading import Faults
from syllabus.engine.rules.minimums import read_params
from syllabus.models import SchoolMinimum
from training.models import School, User
from training.services import access
from training.services.errors import Conflict, find

_CONTENT = ("kind", "params", "says", "note", "ends")
_DEEPEST = 5


class MinimumError(FaultsFound):
    """What was sent is no minimum that can be asked for."""

    what = "the minimum"


@dataclass(frozen=True, slots=True)
class Set:
    """The row, and whether it was made just now."""

    minimum: SchoolMinimum
    created: bool


def seen(user: User) -> QuerySet[SchoolMinimum]:
    """The minimums of every school at which a user is anything: they stand in everybody's report there."""
    here = School.objects.filter(roles__user=user).values("slug")
    return SchoolMinimum.objects.filter(school_ref__in=here).order_by(
        "school_ref", "milestone", "code", "starts"
    )


@transaction.atomic
def add(school: str, fields: Mapping[str, Any], *, by: User) -> Set:
    """Ask for something beyond the law at the school of that short name. The same again is what stands.

    ``fields``: milestone, code, kind, params, says, note, starts, ends, as ``SchoolMinimum`` has them.

    Raises: NotAllowed for whoever administers no school of that name; MinimumError with every fault and its
            place; Conflict where another stands under that code from that day.
    """
    access.locked_school(by, "set minimums", school)
    made = SchoolMinimum(school_ref=school, **fields)
    faults = list(_faults(made))
    if faults:
        raise MinimumError(faults)
    stands = SchoolMinimum.objects.filter(
        school_ref=school, milestone=made.milestone, code=made.code, starts=made.starts
    ).first()
    if stands is not None:
        if any(getattr(stands, key) != getattr(made, key) for key in _CONTENT):
            raise Conflict(
                f"{made.code} from {made.starts} stands already, and not as it was sent now. End it, and add"
                " another that starts on a later day."
            )
        return Set(stands, created=False)
    try:
        made.save()
    except ValidationError as wrong:
        raise MinimumError(_told(wrong)) from None
    return Set(made, created=True)


@transaction.atomic
def end(minimum: int, ends: dt.date | None, *, by: User, at: dt.datetime) -> SchoolMinimum:
    """Let a minimum end with a day, by default today at the school. The same again is what stands.

    What was asked for on days that are over stays: it ends yesterday at the earliest, and on its own first
    day. It is never made longer; another takes its place.

    Raises: NotFound; NotAllowed; MinimumError; Conflict where it ends earlier already.
    """
    found = find(seen(by), "minimum of that id", pk=minimum)
    school = access.locked_school(by, "set minimums", found.school_ref)
    found.refresh_from_db()
    today = school.day(at)
    last = ends or max(today, found.starts)
    if found.ends == last:
        return found
    if found.ends is not None and found.ends < last:
        raise Conflict(f"It ended with {found.ends} already. Add another to ask for the same again.")
    earliest = max(found.starts, today - dt.timedelta(days=1))
    if last < earliest:
        why = "its first day" if earliest == found.starts else "yesterday: what was asked for before stays"
        raise MinimumError([Fault("ends", f"{last} is before {earliest}, {why}")])
    SchoolMinimum.objects.filter(pk=found.pk).update(ends=last)
    found.ends = last
    return found


def _faults(made: SchoolMinimum) -> Iterator[Fault]:
    yield from _texts(made.params, "params")
    for fault in read_params(made.kind, made.params)[1]:
        place = "kind" if fault.place == "kind" else f"params.{fault.place}"
        yield Fault(place, fault.message.removeprefix(f"{fault.place}: "))
    if made.ends is not None and made.ends < made.starts:
        yield Fault("ends", f"{made.ends} is before {made.starts}, its first day")


def _texts(value: Any, place: str, deep: int = 0) -> Iterator[Fault]:
    """Texts that cannot be kept, at any depth, and what nests without end."""
    if deep > _DEEPEST:
        yield Fault(place, "nests too deep; no parameter does")
    elif isinstance(value, str):
        faults = Faults()
        reading.text(faults, value, place)
        yield from faults
    elif isinstance(value, Mapping):
        for key, each in value.items():
            yield from _texts(key, place, deep)
            yield from _texts(each, f"{place}.{key}", deep + 1)
    elif isinstance(value, list):
        for number, each in enumerate(value):
            yield from _texts(each, f"{place}[{number}]", deep + 1)


def _told(wrong: ValidationError) -> list[Fault]:
    return [
        Fault("" if field == NON_FIELD_ERRORS else field, message)
        for field, messages in wrong.message_dict.items()
        for message in messages
    ]
