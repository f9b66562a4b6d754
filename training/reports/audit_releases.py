"""Solo flights without a release at a school that gives releases, or outside the release that was given."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from syllabus.engine.audit.audit import A_NOTE, INCOMPLETE, Found
from syllabus.engine.record.record import Flight, Record
from syllabus.engine.rules.facts import same
from training.models import ReleaseDecision, School, Student

#: The kind of these findings.
UNRELEASED = "solo-unreleased"


@dataclass(frozen=True)
class Releases:
    """The releases of a school's students, by the student's key, and the day of the school's first. One
    query.
    """

    school: School
    first: dt.date
    given: Mapping[int, list[ReleaseDecision]]

    @classmethod
    def of(cls, school: School) -> "Releases":
        given: dict[int, list[ReleaseDecision]] = defaultdict(list)
        first = dt.date.max
        rows = ReleaseDecision.objects.filter(school=school, decision="released")
        for each in rows.select_related("release").order_by("at", "pk"):
            given[each.student_id].append(each)
            first = min(first, school.day(each.at))
        return cls(school, first, dict(given))

    def findings(self, student: Student, record: Record) -> Iterator[Found]:
        """About solo flights since the school's first release; earlier ones had none to fly under."""
        for flight in record.flights:
            if flight.date < self.first or not flight.times.get("solo") or flight.aircraft.device:
                continue
            near = [
                each for each in self.given.get(student.pk, ()) if self.school.day(each.at) == flight.date
            ]
            outside = [self._outside(flight, each) for each in near]
            if not all(outside):
                continue
            why = f"outside its release: {outside[-1]}" if outside else "no release is on record"
            yield Found(
                kind=UNRELEASED,
                severity=INCOMPLETE,
                about=(flight.id,),
                day=flight.date,
                entries=(flight.id,),
                says=f"Solo flight in the {flight.aircraft.model} on {flight.date}: {why}.",
                citations=("no regulation",),
                mend=A_NOTE,
                way="No regulation requires a release; the school decides. Note who let the student fly.",
            )

    def _outside(self, flight: Flight, given: ReleaseDecision) -> str:
        """How a flight differs from a release; empty if it was within it."""
        planned = given.release.flight["aircraft"].get("registration") or ""
        if flight.aircraft.registration and same(planned) != same(flight.aircraft.registration):
            return f"it was given for {planned or 'no aircraft by name'}"
        if flight.off is not None and not given.at <= flight.off <= (given.ends_at or given.at):
            at = flight.off.astimezone(self.school.zone)
            return f"the takeoff was at {at:%H:%M %Z}, and the release was not in effect then"
        return ""
