"""A school's own minimums beyond the law: its administrators set and end them; none is deleted."""

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet

from syllabus.engine.errors import Error, InputError
from syllabus.engine.record import reading
from syllabus.engine.record.reading import Errors
from syllabus.engine.rules.minimums import read_params
from syllabus.models import SchoolMinimum
from training.models import School, User
from training.services import access
from training.services.errors import Conflict, errors_of, find

_CONTENT = ("kind", "params", "says", "note", "ends")
_DEEPEST = 5


class MinimumError(InputError):
    """The minimum that was sent is not valid."""

    what = "the minimum"


@dataclass(frozen=True, slots=True)
class Set:
    """The row, and whether this call created it."""

    minimum: SchoolMinimum
    created: bool


def seen(user: User) -> QuerySet[SchoolMinimum]:
    """The minimums of every school where the user has a role: everyone's reports there show them."""
    here = School.objects.filter(roles__user=user).values("slug")
    return SchoolMinimum.objects.filter(school_ref__in=here).order_by(
        "school_ref", "milestone", "code", "starts"
    )


@transaction.atomic
def add(school: str, fields: Mapping[str, Any], *, by: User) -> Set:
    """Add a minimum for the school of that short name. Sending the same again returns the first one.

    ``fields``: milestone, code, kind, params, says, note, starts, ends, as ``SchoolMinimum`` has them.

    Raises: NotAllowed for anyone but its administrators; MinimumError with every error and its place;
            Conflict if another minimum of that code starts on that day.
    """
    access.locked_school(by, "set minimums", school)
    made = SchoolMinimum(school_ref=school, **fields)
    errors = list(_errors(made))
    if errors:
        raise MinimumError(errors)
    stands = SchoolMinimum.objects.filter(
        school_ref=school, milestone=made.milestone, code=made.code, starts=made.starts
    ).first()
    if stands is not None:
        if any(getattr(stands, key) != getattr(made, key) for key in _CONTENT):
            raise Conflict(
                f"{made.code} from {made.starts} already exists with other content. End it, and add one that"
                " starts on a later day."
            )
        return Set(stands, created=False)
    try:
        made.save()
    except ValidationError as wrong:
        raise MinimumError(errors_of(wrong)) from None
    return Set(made, created=True)


@transaction.atomic
def end(minimum: int, ends: dt.date | None, *, by: User, at: dt.datetime) -> SchoolMinimum:
    """End a minimum on a day, by default today at the school. Sending the same again changes nothing.

    Past days keep what was required on them, so it ends yesterday at the earliest, and never before its own
    first day. It is never extended; add another instead.

    Raises: NotFound; NotAllowed; MinimumError; Conflict if it already ends earlier.
    """
    found = find(seen(by), "minimum of that id", pk=minimum)
    school = access.locked_school(by, "set minimums", found.school_ref)
    found.refresh_from_db()
    today = school.day(at)
    last = ends or max(today, found.starts)
    if found.ends == last:
        return found
    if found.ends is not None and found.ends < last:
        raise Conflict(f"It already ends on {found.ends}. Add another minimum to require the same again.")
    earliest = max(found.starts, today - dt.timedelta(days=1))
    if last < earliest:
        why = (
            "its first day"
            if earliest == found.starts
            else "yesterday; past days keep what was required on them"
        )
        raise MinimumError.at("ends", f"{last} is before {earliest}, {why}")
    SchoolMinimum.objects.filter(pk=found.pk).update(ends=last)
    found.ends = last
    return found


def _errors(made: SchoolMinimum) -> Iterator[Error]:
    yield from _texts(made.params, "params")
    for error in read_params(made.kind, made.params)[1]:
        place = "kind" if error.place == "kind" else f"params.{error.place}"
        yield Error(place, error.message.removeprefix(f"{error.place}: "))
    if made.ends is not None and made.ends < made.starts:
        yield Error("ends", f"{made.ends} is before {made.starts}, its first day")


def _texts(value: Any, place: str, deep: int = 0) -> Iterator[Error]:
    """Texts that cannot be stored, at any depth, and what nests too deep."""
    if deep > _DEEPEST:
        yield Error(place, "is nested too deep")
    elif isinstance(value, str):
        errors = Errors()
        reading.text(errors, value, place)
        yield from errors
    elif isinstance(value, Mapping):
        for key, each in value.items():
            yield from _texts(key, place, deep)
            yield from _texts(each, f"{place}.{key}", deep + 1)
    elif isinstance(value, list):
        for number, each in enumerate(value):
            yield from _texts(each, f"{place}[{number}]", deep + 1)
