"""Flights in an aircraft of the school that was grounded, or whose inspections and documents had expired."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from syllabus.engine.audit.audit import A_NOTE, CORRECTION, INCOMPLETE, NOTE, SERIOUS, Found
from syllabus.engine.errors import NotInForce
from syllabus.engine.record.record import Flight, Record
from syllabus.engine.rules.facts import same
from syllabus.law import airworthiness
from training.models import AircraftCheck, Grounding, School

#: Kinds of these findings: grounded or with an open defect, an inspection or a document that had expired.
GROUNDED, PAPERS = "aircraft-grounded", "aircraft-papers"


@dataclass(frozen=True)
class Fleet:
    """What is on record of a school's aircraft, by registration, each newest first. Two queries."""

    school: School
    checks: Mapping[str, list[AircraftCheck]]
    groundings: Mapping[str, list[Grounding]]

    @classmethod
    def of(cls, school: School) -> "Fleet":
        checks: dict[str, list[AircraftCheck]] = defaultdict(list)
        groundings: dict[str, list[Grounding]] = defaultdict(list)
        for check in AircraftCheck.objects.filter(school=school).select_related("aircraft").order_by("-pk"):
            checks[same(check.aircraft.registration)].append(check)
        for each in Grounding.objects.filter(school=school).select_related("aircraft").order_by("-pk"):
            groundings[same(each.aircraft.registration)].append(each)
        return cls(school, dict(checks), dict(groundings))

    def findings(self, record: Record) -> Iterator[Found]:
        for flight in record.flights:
            if flight.aircraft.registration and not flight.aircraft.device:
                registration = same(flight.aircraft.registration)
                yield from self._grounded(flight, self.groundings.get(registration, ()))
                yield from self._ended(flight, self.checks.get(registration, ()))

    def _grounded(self, flight: Flight, groundings: "list[Grounding] | tuple[()]") -> Iterator[Found]:
        for each in groundings:
            if (during := self._during(flight, each)) is False:
                continue
            grounded = each.kind == Grounding.Kind.GROUNDED
            what = "was grounded" if grounded else "had an open defect"
            unless = "" if during else ", unless it flew before or after that on the same day"
            yield Found(
                kind=GROUNDED,
                severity=NOTE if not grounded else SERIOUS if during else INCOMPLETE,
                about=(flight.id, str(each.pk)),
                day=flight.date,
                entries=(flight.id,),
                says=f"{flight.aircraft.registration} {what} on {flight.date}{unless}: {each.reason}",
                citations=("no regulation",),
                mend=A_NOTE if during else CORRECTION,
                way="If the registration or the time is wrong, correct it; otherwise note who released it.",
            )

    def _during(self, flight: Flight, each: Grounding) -> bool | None:
        """Whether it was grounded when it took off; None where only the day is known."""
        if flight.off is not None:
            return each.at <= flight.off and (each.ended_at is None or each.ended_at > flight.off)
        first = self.school.day(each.at)
        last = self.school.day(each.ended_at) if each.ended_at else dt.date.max
        if not first <= flight.date <= last:
            return False
        return True if first < flight.date < last else None

    def _ended(self, flight: Flight, checks: "list[AircraftCheck] | tuple[()]") -> Iterator[Found]:
        """The newest check of each kind that was done by the day of the flight counts."""
        newest: dict[str, AircraftCheck] = {}
        for check in checks:
            if check.done <= flight.date:
                newest.setdefault(check.kind, check)
        rules = airworthiness.current()
        for kind, check in sorted(newest.items()):
            try:
                version = rules.on(kind, flight.date)
            except (NotInForce, KeyError):  # an inspection by hours, which are not tracked here
                continue
            last = airworthiness.last_day(version, check.done, check.expires)
            if last is None or last >= flight.date:
                continue
            title = version.params["title"].lower()
            yield Found(
                kind=PAPERS,
                severity=SERIOUS if version.get("always") else INCOMPLETE,
                about=(flight.id, kind),
                day=flight.date,
                entries=(flight.id,),
                says=f"{title.capitalize()} of {flight.aircraft.registration}: expired on {last}, before the"
                f" flight of {flight.date}. {version.says}",
                citations=(version.cite.section,),
                verified=version.verified,
                mend=A_NOTE,
                way="If it was done in time, add it to the aircraft; otherwise note what was done about it.",
            )
