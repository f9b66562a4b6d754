"""Errors planted in the records of ``tests.support.audited``: each is to give exactly one finding."""

from __future__ import annotations

import dataclasses
import datetime as dt
import uuid
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from types import MappingProxyType

from django.db import connection

from syllabus.engine.record import record as engine
from syllabus.engine.time.units import parse_time
from tests.support import audited as schools
from tests.support import factories
from tests.support.audited import ON, Audited, Plan, evening, flight, route
from tests.support.lessons import unguarded
from training import models
from training.models import Finding
from training.services.lessons import lesson_records, sign_offs

ONE_DAY = dt.timedelta(days=1)


@dataclass(frozen=True)
class Planted:
    """What an audit is to find: its kind, whose it is, and an entry that it names."""

    kind: str
    whose: str
    entry: str


class NoRoom(Exception):
    """The student's plan has no place left for a fault of this kind."""


class Planter:
    """Plants one fault after another, no two where they could touch each other."""

    def __init__(self, made: Audited):
        self.made, self.chance = made, made.chance
        self.after: list[Callable[[], None]] = []
        self._busy: set[tuple[str, dt.date]] = set()
        here = made.school
        lapsed = factories.instructor(
            here,
            name="Lapsed Example",
            certificate="2000001CFI",
            recent_experience_until=dt.date(2020, 6, 30),
        )
        glider = factories.instructor(
            here, name="Glider Example", certificate="2000002CFI", ratings=[{"category": "glider"}]
        )
        self.lapsed = engine.Instructor(str(lapsed), "2000001CFI")
        self.glider = engine.Instructor(str(glider), "2000002CFI")
        self.hurried = [
            (
                factories.instructor(here, name=f"Hurried {n}", certificate=f"30000{n:02d}CFI"),
                f"30000{n:02d}CFI",
            )
            for n in range(4)
        ]

    def take(self, plan: Plan, kind: str) -> int:
        """The number of a flight that no other fault touches."""
        spare = plan.spare(kind)
        if not spare:
            raise NoRoom
        index = self.chance.choice(spare)
        plan.used |= {index - 1, index, index + 1}
        return index

    def whose(self, plan: Plan) -> str:
        return str(self.made.students[plan.number].ref)

    def once(self, who: str, day: dt.date) -> None:
        """Nobody else does this on the days around it."""
        near = {(who, day + n * ONE_DAY) for n in range(-3, 4)}
        if near & self._busy:
            raise NoRoom
        self._busy.add((who, day))

    # solo flights

    def other_model(self, plan: Plan) -> Planted:
        index = self.take(plan, "solo")
        craft = engine.Aircraft(f"N{plan.number:03d}PA", "PA28", "airplane", "single-engine land")
        made = plan.change(index, aircraft=craft)
        return Planted("solo-first", self.whose(plan), made.id)

    def in_command(self, plan: Plan) -> Planted:
        """Alone in another model, and logged as pilot in command instead of as solo."""
        index = self.take(plan, "solo")
        lasts = plan.flights[index].times["total"]
        craft = engine.Aircraft(f"N{plan.number:03d}PC", "PA38", "airplane", "single-engine land")
        made = plan.change(index, aircraft=craft, times=MappingProxyType({"total": lasts, "pic": lasts}))
        return Planted("solo-first", self.whose(plan), made.id)

    def night_as_none(self, plan: Plan) -> Planted:
        """Flown late in the evening, with no night logged."""
        index = self.take(plan, "solo")
        off, times = plan.off(index, 22), {**plan.flights[index].times, "night": 0}
        lasts = dt.timedelta(microseconds=times["total"])
        made = plan.change(index, off=off, on=off + lasts, times=MappingProxyType(times))
        return Planted("solo-night", self.whose(plan), made.id)

    def _cleared_for(self, plan: Plan) -> tuple[int, dict[str, object]]:
        """A solo flight in a model of its own, and the solo endorsement for it that is still to be given."""
        indices = [i for i in plan.spare("solo") if plan.flights[i - 1].times.get("dual")]
        if not indices:
            raise NoRoom
        index = self.chance.choice(indices)
        plan.used |= {index - 1, index, index + 1}
        craft = engine.Aircraft(f"N{plan.number:03d}DA", f"DA{index}", "airplane", "single-engine land")
        before = plan.change(index - 1, aircraft=craft)
        plan.change(index, aircraft=craft)
        plan.tests.append(
            engine.Test(f"t-{index}", "pre-solo-knowledge", before.date, "pass", None, craft.model, None,
                        plan.instructor, evening(before.date))
        )  # fmt: skip
        plan.endorse("pre-solo-training", before.date, aircraft_model=craft.model)
        return index, {"aircraft_model": craft.model, "training_date": before.date}

    def backdated(self, plan: Plan) -> Planted:
        """The endorsement is dated before the flight and came on record three days after it."""
        index, fields = self._cleared_for(plan)
        late = evening(plan.day(index) + 3 * ONE_DAY)
        plan.endorse("solo-90-day", plan.day(index - 1), recorded=late, **fields)
        return Planted("solo-first", self.whose(plan), f"f{index}")

    def taken_away(self, plan: Plan) -> Planted:
        """The endorsement was on record at the flight, and was taken off the record a month later."""
        index, fields = self._cleared_for(plan)
        given = plan.endorse("solo-90-day", plan.day(index - 1), **fields)
        plan.endorsements.remove(given)
        plan.retired.append(
            (dataclasses.replace(given, id=f"r{index}"), evening(plan.day(index) + 30 * ONE_DAY))
        )
        return Planted("solo-first", self.whose(plan), f"f{index}")

    def cross_country(self, plan: Plan) -> Planted:
        made = plan.change(self.take(plan, "solo"), route=route("KGRB", "KMSN", "KGRB"))
        return Planted("solo-cross-country", self.whose(plan), made.id)

    def nearby(self, plan: Plan) -> Planted:
        """To an airport nearby, without the endorsement for it."""
        index = self.take(plan, "solo")
        made = plan.change(index, route=route("KGRB", "KATW", "KGRB"))
        return Planted("solo-cross-country", self.whose(plan), made.id)

    def at_night(self, plan: Plan) -> Planted:
        index = self.take(plan, "solo")
        times = {**plan.flights[index].times, "night": parse_time("0.5 h")}
        return Planted("solo-night", self.whose(plan), plan.change(index, times=MappingProxyType(times)).id)

    def class_b(self, plan: Plan) -> Planted:
        made = plan.change(self.take(plan, "solo"), purposes=("class-b:chicago",))
        return Planted("solo-class-b", self.whose(plan), made.id)

    # endorsements

    def _endorsed(self, plan: Plan, kind: str, **more: object) -> engine.Endorsement:
        day = plan.day(self.chance.randrange(20, len(plan.flights) - 1))
        return plan.endorse(kind, day, **{"aircraft_model": "C172", **more})

    def by_lapsed(self, plan: Plan) -> Planted:
        made = self._endorsed(plan, "pre-solo-knowledge", instructor=self.lapsed)
        return Planted("endorsement-authority", self.whose(plan), made.id)

    def by_unrated(self, plan: Plan) -> Planted:
        made = self._endorsed(plan, "pre-solo-knowledge", instructor=self.glider)
        return Planted("endorsement-authority", self.whose(plan), made.id)

    def without_number(self, plan: Plan) -> Planted:
        unnumbered = engine.Instructor(plan.instructor.name)
        made = self._endorsed(plan, "pre-solo-knowledge", instructor=unnumbered)
        return Planted("endorsement-authority", self.whose(plan), made.id)

    def untrained(self, plan: Plan) -> Planted:
        day = plan.day(self.chance.randrange(48, len(plan.flights) - 14)) + ONE_DAY
        made = plan.endorse("solo-other-airport", day, airport=schools.place("KMTW"), training_date=day)
        return Planted("endorsement-untrained", self.whose(plan), made.id)

    def before_standard(self, plan: Plan) -> Planted:
        """Endorsed for the training before solo while its items were still to be graded."""
        made = plan.endorse(
            "pre-solo-training", plan.day(self.chance.randrange(5, 18)), aircraft_model="C172"
        )
        return Planted("endorsement-untrained", self.whose(plan), made.id)

    def days_ahead(self, plan: Plan) -> Planted:
        made = self._endorsed(
            plan, "solo-cross-country-flight", route=route("KGRB", "KMSN", "KGRB"), conditions="by day"
        )
        ahead = dataclasses.replace(made, flight_date=made.given + self.chance.randrange(2, 9) * ONE_DAY)
        plan.endorsements[-1] = ahead
        return Planted("endorsement-early", self.whose(plan), made.id)

    def stranger(self, plan: Plan) -> Planted:
        number = f"9{plan.number:03d}{len(plan.endorsements):03d}CFI"
        stranger = engine.Instructor("Wanda Elsewhere", number)
        made = self._endorsed(plan, "pre-solo-knowledge", instructor=stranger)
        return Planted("instructor-unknown", self.whose(plan), made.id)

    def gap(self, plan: Plan) -> Planted:
        if -1 in plan.used:
            raise NoRoom
        plan.used.add(-1)
        given = next(each for each in plan.endorsements if each.kind == "practical-test")
        how = self.chance.choice(("review", "item", "late item"))
        if how == "review":
            plan.endorsements = [e for e in plan.endorsements if e.kind != "knowledge-deficiencies-reviewed"]
        else:
            at = next(n for n, each in enumerate(plan.items) if each.item == "area.private.07")
            late = {"recorded": evening(given.given + 9 * ONE_DAY)}
            change = {"grade": "practice"} if how == "item" else late
            plan.items[at] = dataclasses.replace(plan.items[at], **change)
        return Planted("recommendation-gap", self.whose(plan), given.id)

    def no_result(self, plan: Plan) -> Planted:
        if -2 in plan.used:
            raise NoRoom
        plan.used.add(-2)
        given = next(each for each in plan.endorsements if each.kind == "practical-test")
        plan.tests = [each for each in plan.tests if not each.kind.startswith("practical:")]
        return Planted("result-missing", self.whose(plan), given.id)

    # training

    def too_many_hours(self, plan: Plan) -> Planted:
        """Five flights of two hours in one day, by somebody who gives no other training near it."""
        user, number = self.chance.choice(self.hurried)
        index = self.chance.randrange(48, len(plan.flights) - 14)
        if index in plan.used:
            raise NoRoom
        day = plan.day(index) + 2 * ONE_DAY
        self.once(number, day)
        plan.used.add(index)
        by, craft = engine.Instructor(str(user), number), f"N{plan.number:03d}HR"
        for hour in (5, 8, 11, 14, 17):
            off = dt.datetime.combine(day, dt.time(hour), schools.ZONE)
            more = {"date": day, "off": off, "on": off + dt.timedelta(hours=2), "recorded": evening(day)}
            made = flight(plan, index, "dual", lasts="2 h", id=f"h{index}-{hour}", instructor=by, **more)
            plan.flights.append(
                dataclasses.replace(made, aircraft=dataclasses.replace(made.aircraft, registration=craft))
            )
        return Planted("training-hours", str(user.pk), f"h{index}-11")

    def by_the_lapsed(self, plan: Plan) -> Planted:
        index = self.take(plan, "dual")
        self.once("lapsed", plan.day(index))
        made = plan.change(index, instructor=self.lapsed)
        return Planted("training-lapsed", self.whose(plan), made.id)

    def not_rated(self, plan: Plan) -> Planted:
        craft = engine.Aircraft(f"N{plan.number:03d}GL", "ASK21", "glider")
        made = plan.change(self.take(plan, "dual"), aircraft=craft)
        return Planted("training-ratings", self.whose(plan), made.id)

    # entries

    def says_nothing(self, plan: Plan) -> Planted:
        lack = self.chance.choice(("registration", "route", "total", "certificate", "topic"))
        if lack == "topic":
            day = plan.day(self.chance.randrange(5, 40))
            entry = f"q{len(plan.ground)}"
            plan.ground.append(
                engine.GroundLesson(entry, day, parse_time("1 h"), "", plan.instructor, evening(day))
            )
            return Planted("entry-incomplete", self.whose(plan), entry)
        index = self.take(plan, "dual")
        was = plan.flights[index]
        made = plan.change(
            index,
            **{
                "registration": {"aircraft": dataclasses.replace(was.aircraft, registration=None)},
                "route": {"route": ()},
                "total": {"times": MappingProxyType({"dual": was.times["dual"]})},
                "certificate": {"instructor": engine.Instructor(plan.instructor.name)},
            }[lack],
        )
        return Planted("entry-incomplete", self.whose(plan), made.id)

    def same_person(self, plan: Plan) -> Planted:
        index = self.take(plan, "dual")
        was = plan.flights[index]
        assert was.off
        craft = dataclasses.replace(was.aircraft, registration=f"N{plan.number:03d}TW")
        half = dt.timedelta(minutes=30)
        made = flight(
            plan, index, "solo", id=f"w{index}", off=was.off + half, on=was.off + 3 * half, aircraft=craft
        )
        plan.flights.append(made)
        return Planted("two-places", self.whose(plan), made.id)

    def same_aircraft(self, plan: Plan) -> Planted:
        """A solo flight in the aircraft in which another student is in the air at that time."""
        for index in self.chance.sample(plan.spare("solo"), len(plan.spare("solo"))):
            mine = plan.flights[index]
            for other in self.made.plans:
                days = (mine.date - other.first).days
                at, rest = divmod(days, schools.EVERY)
                if rest or other.aircraft == plan.aircraft or other.slot != plan.slot:
                    continue
                if at in other.used or not 48 <= at < len(other.flights):
                    continue
                theirs = other.flights[at]
                if theirs.date == mine.date and theirs.aircraft.registration == other.aircraft:
                    plan.used |= {index - 1, index, index + 1}
                    other.used |= {at - 1, at, at + 1}
                    craft = dataclasses.replace(mine.aircraft, registration=other.aircraft)
                    plan.change(index, aircraft=craft)
                    first = min((plan, other), key=lambda each: each.number)
                    return Planted("two-places", self.whose(first), mine.id)
        raise NoRoom

    def same_instructor(self, plan: Plan) -> Planted:
        """A lesson given while the instructor is in the air with another student."""
        mine = {each.date for each in plan.flights}
        others = [each for each in self.made.plans if each.instructor == plan.instructor and each is not plan]
        for other in self.chance.sample(others, len(others)):
            for index in other.spare("dual"):
                theirs = other.flights[index]
                if theirs.date in mine or theirs.instructor != plan.instructor or theirs.date < plan.day(48):
                    continue
                other.used |= {index - 1, index, index + 1}
                assert theirs.off
                off = theirs.off + dt.timedelta(minutes=30)
                craft = dataclasses.replace(theirs.aircraft, registration=f"N{plan.number:03d}SI")
                more = {"date": theirs.date, "off": off, "on": off + dt.timedelta(hours=1)}
                made = flight(
                    plan, index, "dual", lasts="1 h", id=f"i{index}-{other.number}", aircraft=craft,
                    recorded=evening(theirs.date), **more,
                )  # fmt: skip
                plan.flights.append(made)
                return Planted("two-places", self.whose(other), made.id)
        raise NoRoom

    # lessons written down here

    def _lesson(self, plan: Plan, day: dt.date) -> models.LessonRecord:
        said = {"ground": {"date": day.isoformat(), "time": "1 h", "topic": "a talk"}}
        by = self.made.instructors[plan.number // schools.STUDENTS_EACH]
        student = models.Student.objects.get(pk=self.made.students[plan.number].pk)
        return lesson_records.create(
            student, id=uuid.UUID(int=self.chance.getrandbits(128)), lesson="", content=said, by=by,
            at=evening(day), via="test",
        )  # fmt: skip

    def _signed(self, plan: Plan, day: dt.date) -> models.LessonRecord:
        lesson = self._lesson(plan, day)
        by = self.made.instructors[plan.number // schools.STUDENTS_EACH]
        sign_offs.sign_off(lesson.pk, by=by, content_hash=lesson.content_hash, at=evening(day), via="test")
        return lesson

    def _some_day(self) -> dt.date:
        return ON - self.chance.randrange(20, 60) * ONE_DAY

    def unsigned(self, plan: Plan) -> Planted:
        lesson = self._lesson(plan, self._some_day())
        return Planted("lesson-unsigned", self.whose(plan), str(lesson.pk))

    def unacknowledged(self, plan: Plan) -> Planted:
        lesson = self._signed(plan, self._some_day())
        return Planted("lesson-unacknowledged", self.whose(plan), str(lesson.pk))

    def altered(self, plan: Plan) -> Planted:
        """Signed and acknowledged, and then changed in the tables by whoever owns them."""
        day = self._some_day()
        lesson = self._signed(plan, day)
        owner = self.made.students[plan.number].user
        assert owner
        sign_offs.acknowledge(lesson.pk, by=owner, at=evening(day), via="test")

        def tamper() -> None:
            with unguarded(), connection.cursor() as cursor:
                cursor.execute(
                    "UPDATE training_groundlesson SET topic = 'another talk' WHERE entry_id LIKE %s",
                    [f"{lesson.pk}/%"],
                )

        self.after.append(tamper)
        return Planted("record-altered", "", str(lesson.pk))


#: Every kind of fault, with how often it is planted beside the others.
FAULTS: dict[str, int] = {
    "other_model": 2,
    "in_command": 1,
    "night_as_none": 1,
    "backdated": 2,
    "taken_away": 2,
    "cross_country": 2,
    "nearby": 1,
    "at_night": 2,
    "class_b": 2,
    "by_lapsed": 1,
    "by_unrated": 1,
    "without_number": 1,
    "untrained": 1,
    "before_standard": 1,
    "days_ahead": 1,
    "stranger": 1,
    "gap": 2,
    "no_result": 2,
    "too_many_hours": 2,
    "by_the_lapsed": 2,
    "not_rated": 1,
    "says_nothing": 3,
    "same_person": 2,
    "same_aircraft": 1,
    "same_instructor": 1,
    "unsigned": 1,
    "unacknowledged": 1,
    "altered": 1,
}


def plant(made: Audited, number: int) -> tuple[list[Planted], Counter[str]]:
    """Plant so many faults, every kind among them, and put the records in the tables.

    Returns what is to be found, and how often each fault was planted.
    """
    planter = Planter(made)
    wanted = [name for name, often in FAULTS.items() for _ in range(often)]
    planted: list[Planted] = []
    counted: Counter[str] = Counter()
    queue = [*FAULTS, *made.chance.choices(wanted, k=max(0, number - len(FAULTS)))][:number]
    for name in queue:
        for plan in made.chance.sample(made.plans, len(made.plans)):
            try:
                planted.append(getattr(planter, name)(plan))
            except NoRoom:
                continue
            counted[name] += 1
            break
    schools.stored(made)
    for do in planter.after:
        do()
    return planted, counted


@dataclass(frozen=True)
class Compared:
    """What was planted and what was found, one by one."""

    missed: tuple[Planted, ...]
    beside: tuple[Finding, ...]
    matched: int

    @property
    def precision(self) -> float:
        return self.matched / ((self.matched + len(self.beside)) or 1)

    @property
    def recall(self) -> float:
        return self.matched / ((self.matched + len(self.missed)) or 1)


def compared(planted: Iterable[Planted], found: Iterable[Finding]) -> Compared:
    """Each planted fault takes the one finding that is its own; the rest was missed, or told beside."""
    left = list(found)
    missed, matched = [], 0
    for each in planted:
        own = next((one for one in left if _is(each, one)), None)
        if own is None:
            missed.append(each)
        else:
            left.remove(own)
            matched += 1
    return Compared(tuple(missed), tuple(left), matched)


def _is(planted: Planted, found: Finding) -> bool:
    if found.kind != planted.kind:
        return False
    if planted.kind == "record-altered":
        return planted.entry in found.body["says"]
    whose = str(found.student.ref) if found.student else str(found.instructor_id)
    return whose == planted.whose and planted.entry in [each["id"] for each in found.body["entries"]]
