"""The check of a planned solo flight: the lines with its hash, and until when a release may last."""

import datetime as dt
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import rfc8785

from syllabus.engine.errors import InputError
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.shapes import shape_of
from syllabus.engine.release.flight import PlannedFlight
from syllabus.engine.rules.report import CAUTION
from training.ledger.core import assertions
from training.models import Student
from training.presenters.entry import place
from training.reports import solo_checks
from training.reports.solo_checks import CONFIRM, Line, Release, in_json

_FLIGHT = shape_of(PlannedFlight)


class ReleaseError(InputError):
    """The planned flight, or the decision, cannot be read."""

    what = "the solo release"


@dataclass(frozen=True)
class Checked:
    """The check of a flight, and until when a release that is signed now may last."""

    flight: PlannedFlight
    answer: Release
    ends_at: dt.datetime

    @cached_property
    def text(self) -> str:
        """What a decision is made to, as canonical JSON: the flight, and each line with its answer.

        Words that change by the minute, such as a report's age, are not part of it.
        """
        return canonical(
            {"flight": written(self.flight), "lines": {each.id: each.met for each in self.answer.lines}}
        )

    @property
    def digest(self) -> str:
        return assertions.hash_of(self.text)

    @property
    def to_confirm(self) -> list[str]:
        return [each.id for each in self.answer.lines if each.group == CONFIRM]

    def as_json(self) -> dict[str, Any]:
        """With the lines that are not met first, then the unknown ones, those to confirm, and the rest."""
        return {
            "flight": written(self.flight),
            "checked": self.digest,
            "lines": [in_json(each) for each in sorted(self.answer.lines, key=_rank)],
            "met": self.answer.met,
            "ends_at": self.ends_at.isoformat(),
            "caution": CAUTION,
        }


def _rank(line: Line) -> int:
    if line.met is None:
        return 2 if line.group == CONFIRM else 1
    return 3 if line.met else 0


def canonical(value: Any) -> str:
    """Canonical JSON (RFC 8785)."""
    return rfc8785.dumps(value).decode()


def read(flight: object) -> PlannedFlight:
    """The flight as sent. Raises: ReleaseError with every error."""
    errors = Errors()
    found: PlannedFlight = _FLIGHT.read(errors, flight, "flight")
    errors.stop(ReleaseError)
    return found


def written(flight: PlannedFlight) -> dict[str, Any]:
    """The flight as JSON."""
    return _FLIGHT.write(flight)


def checked(
    student: Student, flight: PlannedFlight, *, at: dt.datetime, confirmed: Iterable[str] = ()
) -> Checked:
    """Check a flight as of an instant. Raises: NotInForce; NotCovered."""
    found = solo_checks.check(student, flight, at=at, confirmed=confirmed)
    ends = at + dt.timedelta(hours=student.school.release_hours)
    return Checked(flight, found, min(ends, found.ends) if found.ends else ends)


def route_in_words(flight: Mapping[str, Any]) -> str:
    """The route of a stored flight, such as ``KGRB KMTW KGRB``."""
    return " ".join(place(each) for each in flight["route"])


def lesson_of(flight: Mapping[str, Any], zone: dt.tzinfo) -> dict[str, Any]:
    """The content of a lesson sheet for a released flight: times as planned, solo."""
    off, on = (dt.datetime.fromisoformat(flight[key]).astimezone(zone) for key in ("off", "on"))
    lasted = f"{(on - off) // dt.timedelta(minutes=1)} min"
    return {
        "flight": {
            "date": off.date().isoformat(),
            "aircraft": flight["aircraft"],
            "route": flight["route"],
            "off": off.isoformat(),
            "on": on.isoformat(),
            "times": {"total": lasted, "solo": lasted},
        },
        "items": [],
    }


def is_about(flight: Mapping[str, Any], check: str) -> bool:
    """Whether the sealed text of a check is about this stored flight."""
    return canonical(json.loads(check)["flight"]) == canonical(flight)
