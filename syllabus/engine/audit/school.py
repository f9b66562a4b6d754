"""What shows only across a school's records: who may sign, how many hours were given, who was where."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property

from syllabus.engine.audit.audit import A_NOTE, CORRECTION, INCOMPLETE, NOTE, NOTHING, SERIOUS, Found, named
from syllabus.engine.audit.instructing import Rating, covered, instrument
from syllabus.engine.record.record import (
    Endorsement,
    Flight,
    GroundLesson,
    Instructor,
    ItemGrade,
    Record,
)
from syllabus.engine.rules.facts import same
from syllabus.engine.rules.kinds.training import PREPARATION
from syllabus.engine.time.days import Days

#: What a rule about instructors says: its citation and how it was checked.
Cited = tuple[str, str]
#: Category and class of an aircraft.
Craft = tuple[str | None, str | None]


@dataclass(frozen=True, slots=True)
class Held:
    """What a school has on record of one of its instructors. ``user`` tells them apart.

    ``thought_lapsed`` are spans of days on which, by what the school had on record then, the recent
    experience had ended; a renewal that came on record later may say otherwise now.
    """

    user: int
    name: str
    certificate: str
    recent_until: date | None = None
    ratings: tuple[Rating, ...] | None = None
    thought_lapsed: tuple[tuple[date, date], ...] = ()

    def recent(self, day: date) -> tuple[bool, bool]:
        """Whether nothing on record says that the recent experience had ended: as known now, and then."""
        now = self.recent_until is None or day in Days.between(None, self.recent_until)
        return now, now and not any(day in Days.between(*span) for span in self.thought_lapsed)


@dataclass(frozen=True)
class Instructors:
    """The school's instructors, found by what an entry says of them."""

    held: Sequence[Held]
    #: Further numbers under which one of them signed.
    also: Mapping[str, Held] = field(default_factory=dict)

    def of(self, said: Instructor) -> Held | None:
        """By the number of the certificate; by the name where the entry has no number and one alone fits."""
        if said.certificate:
            return self._by_number.get(same(said.certificate))
        found = [each for each in self.held if each.name == said.name]
        return found[0] if len(found) == 1 else None

    @cached_property
    def _by_number(self) -> Mapping[str, Held]:
        own = {same(each.certificate): each for each in self.held if each.certificate}
        return {**{same(number): each for number, each in self.also.items()}, **own}


@dataclass(frozen=True, slots=True)
class Citations:
    """Where the rules about instructors stand on a day."""

    authorized: Cited
    recent: Cited
    oneself: Cited
    ratings: Cited
    instrument: Cited
    #: The categories of aircraft that have classes.
    with_class: Collection[str]


def endorsed(
    record: Record,
    instructors: Mapping[Instructor, Held | None],
    student_user: int | None,
    crafts: Mapping[str, tuple[Craft, ...]],
    cited_on: Callable[[date], Citations],
) -> Iterator[Found]:
    """Endorsements by an instructor who had no authority to give them on their day.

    ``crafts`` are the categories and classes of each model, as the school's list of aircraft has them; where
    it has none of a model, the flights of the record say.
    """
    crafts = {**_flown(record), **crafts}
    for each in record.endorsements:
        who = each.instructor
        held = instructors[who] if who else None
        against = list(_against(each, held, student_user, crafts, cited_on(each.given)))
        if not against:
            continue
        recent = held.recent(each.given) if held else (True, True)
        known = None if all(recent) else recent
        doubtful = known == (True, False) and len(against) == 1
        cites = [cite for cite, _ in against]
        yield Found(
            kind="endorsement-authority",
            severity=INCOMPLETE if doubtful else SERIOUS,
            about=(each.id,),
            day=each.given,
            entries=(each.id,),
            says=f"The endorsement {each.kind} given {each.given} by {named(who)} was without"
            f" authority: {'; '.join(why for _, why in against)}.",
            citations=tuple(dict.fromkeys(section for section, _ in cites)),
            mend=CORRECTION if who is None or not who.certificate else NOTHING,
            way="If the school's record of the instructor or the entry is wrong, correct it; otherwise note"
            " what was done, and have an authorized instructor endorse.",
            verified=_weakest(cites),
            two_times=known is not None,
            now=known and known[0],
            then=known and known[1],
        )


def _against(
    each: Endorsement,
    held: Held | None,
    student_user: int | None,
    crafts: Mapping[str, tuple[Craft, ...]],
    cited: Citations,
) -> Iterator[tuple[Cited, str]]:
    """Why whoever endorsed had no authority to: the rule, and the words."""
    if each.instructor is None:
        yield cited.authorized, "no instructor is named"
    elif not each.instructor.certificate:
        yield cited.authorized, "the certificate number is missing"
    if held is None:
        return
    if held.user == student_user:
        yield cited.oneself, "nobody may endorse themselves"
    if not all(recent := held.recent(each.given)):
        yield cited.recent, _lapsed(held, recent)
    if _not_rated(held, each, crafts, cited.with_class):
        yield cited.ratings, f"the ratings recorded for {held.name} do not cover the {each.aircraft_model}"


def _lapsed(held: Held, recent: tuple[bool, bool]) -> str:
    """Why an instructor had lapsed, in words."""
    if not recent[0]:
        return f"the instructor's recent experience had ended on {held.recent_until}"
    return (
        "by what the school had on record then, the instructor's recent experience had ended; by what is on"
        " record now it had not"
    )


def _flown(record: Record) -> dict[str, tuple[Craft, ...]]:
    """The categories and classes of the models that were flown."""
    found: dict[str, set[Craft]] = {}
    for flight in record.flights:
        craft = flight.aircraft
        if craft.model and craft.category and not craft.device:
            found.setdefault(same(craft.model), set()).add((craft.category, craft.klass))
    return {model: tuple(each) for model, each in found.items()}


def _weakest(cites: Iterable[Cited]) -> str:
    return min((verified for _, verified in cites), key=("memory", "second-hand", "read").index)


def _not_rated(
    held: Held, each: Endorsement, crafts: Mapping[str, tuple[Craft, ...]], with_class: Collection[str]
) -> bool:
    known = crafts.get(same(each.aircraft_model)) if each.aircraft_model else None
    if held.ratings is None or not known:
        return False
    return all(covered(held.ratings, *craft, with_class) is False for craft in known)


Lesson = Flight | GroundLesson | ItemGrade
#: What a flight that prepares for the test for an instrument rating says of itself.
FOR_INSTRUMENT = f"{PREPARATION}instrument"


def gave(
    record: Record,
    instructors: Mapping[Instructor, Held | None],
    student_user: int | None,
    cited_on: Callable[[date], Citations],
) -> Iterator[Found]:
    """Training by an instructor who had no authority to give it on its day: one finding a day."""
    days: dict[tuple[str, date, int], tuple[Held, list[Lesson]]] = {}
    lessons: list[Lesson] = [each for each in record.flights if each.times.get("dual")]
    lessons += [*record.ground, *record.items]
    for each in lessons:
        if each.instructor and (held := instructors[each.instructor]):
            for why in _why_not(each, held, student_user, cited_on):
                days.setdefault((why, each.date, held.user), (held, []))[1].append(each)
    for (why, day, user), (held, given) in days.items():
        cited = cited_on(day)
        (section, verified), words = {
            "lapsed": (cited.recent, _lapsed(held, held.recent(day))),
            "oneself": (cited.oneself, "the instructor is the student"),
            "ratings": (cited.ratings, "the ratings recorded for the instructor do not cover the aircraft"),
            "instrument": (
                cited.instrument,
                "it was for an instrument rating, and none is recorded on the instructor's certificate",
            ),
        }[why]
        recent = held.recent(day) if why == "lapsed" else None
        doubtful = recent == (True, False)
        yield Found(
            kind=f"training-{why}",
            severity=INCOMPLETE if doubtful else SERIOUS,
            about=(str(user), day.isoformat()),
            day=day,
            entries=tuple(sorted({each.id for each in given})),
            says=f"Training on {day} by {named(given[0].instructor)}: {words}. Only training by an"
            " authorized instructor counts.",
            citations=(section,),
            mend=A_NOTE if doubtful else NOTHING,
            way="If the school's record of the instructor is wrong, correct it; otherwise note"
            " it: an authorized"
            " instructor gives the training again.",
            verified=verified,
            two_times=recent is not None,
            now=recent and recent[0],
            then=recent and recent[1],
        )


def _why_not(
    lesson: Lesson, held: Held, student_user: int | None, cited_on: Callable[[date], Citations]
) -> Iterator[str]:
    """Why an instructor had no authority to give a lesson: by the word that its finding's kind ends with."""
    if not all(held.recent(lesson.date)):
        yield "lapsed"
    if held.user == student_user:
        yield "oneself"
    if held.ratings is None or not isinstance(lesson, Flight) or lesson.aircraft.device is not None:
        return
    craft, with_class = lesson.aircraft, cited_on(lesson.date).with_class
    if covered(held.ratings, craft.category, craft.klass, with_class) is False:
        yield "ratings"
    elif _for_an_instrument_rating(lesson) and instrument(held.ratings, craft.category) is False:
        yield "instrument"


def _for_an_instrument_rating(flight: Flight) -> bool:
    """Whether a flight is instrument training for that rating, by its own words.

    Basic instrument training toward another certificate asks for no such rating (14 CFR 61.195(l)).
    """
    instrument_time = any(flight.times.get(f"{how}_instrument") for how in ("actual", "simulated"))
    return instrument_time and FOR_INSTRUMENT in flight.purposes


def strangers(record: Record, instructors: Mapping[Instructor, Held | None], cited: Cited) -> Iterator[Found]:
    """Instructors whom the school does not know, each told once: their authority is on record elsewhere."""
    entries: dict[str, list[tuple[date, str, Instructor]]] = {}
    for part in ("flights", "ground", "items", "endorsements"):
        for each in getattr(record, part):
            who = each.instructor
            if who is None or instructors[who] is not None:
                continue
            key = same(who.certificate) if who.certificate else f"name {who.name}"
            day = each.given if isinstance(each, Endorsement) else each.date
            entries.setdefault(key, []).append((day, each.id, who))
    for key, seen in entries.items():
        seen.sort(key=lambda one: one[:2])
        first, last, who = seen[0][0], seen[-1][0], seen[0][2]
        many = "entry" if len(seen) == 1 else "entries"
        yield Found(
            kind="instructor-unknown",
            severity=NOTE,
            about=(key,),
            day=first,
            entries=tuple(dict.fromkeys(entry for _, entry, _ in seen))[:20],
            says=f"{named(who)} signed {len(seen)} {many} from {first} to {last} but is not one"
            " of the school's"
            " instructors: whether they were authorized then is not on record here.",
            citations=(cited[0],),
            mend=A_NOTE,
            way="Note where their certificate was seen, such as a transfer from another school.",
            verified=cited[1],
        )


@dataclass(frozen=True, slots=True)
class Flown:
    """A flight in the air between two instants (microseconds): who and what was in it."""

    student: int
    entry: str
    day: date
    off: int
    on: int
    aircraft: str | None
    instructor: str | None


def in_two_places(flown: Iterable[Flown]) -> Iterator[tuple[Flown, Flown, tuple[str, ...]]]:
    """Pairs of flights that were in the air at the same time with the same aircraft, student or instructor.

    One that begins just when the other ends shares no time with it.
    """
    active: list[Flown] = []
    for each in sorted(flown, key=lambda one: (one.off, one.on, one.student, one.entry)):
        active = [other for other in active if other.on > each.off]
        for other in active:
            if each.on <= each.off:
                continue
            shared = []
            if each.student == other.student:
                shared.append("student")
            if each.aircraft is not None and each.aircraft == other.aircraft:
                shared.append("aircraft")
            if each.instructor is not None and each.instructor == other.instructor:
                shared.append("instructor")
            if shared:
                yield other, each, tuple(shared)
        active.append(each)
