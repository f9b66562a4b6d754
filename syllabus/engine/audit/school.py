"""What shows only across a school's records: who may sign, how many hours were given, who was where."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from itertools import pairwise

from syllabus.engine.audit.audit import A_NOTE, CORRECTION, INCOMPLETE, NOTE, NOTHING, SERIOUS, Found, named
from syllabus.engine.audit.instructing import Rating, Tally, Training, covered, fullest, instrument
from syllabus.engine.record.record import (
    ATTESTED,
    CLAIMED,
    Endorsement,
    Flight,
    GroundLesson,
    Instructor,
    ItemGrade,
    Record,
    entry_day,
)
from syllabus.engine.rules.facts import same
from syllabus.engine.rules.kinds.times import PREPARATION
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
        why: list[str] = []
        cites: list[Cited] = []
        known: tuple[bool, bool] | None = None
        cited = cited_on(each.given)
        if each.instructor is None:
            why.append("no instructor is named")
            cites.append(cited.authorized)
        else:
            if not each.instructor.certificate:
                why.append("no certificate number stands with the name")
                cites.append(cited.authorized)
            held = instructors[each.instructor]
            if held is not None:
                if held.user == student_user:
                    why.append("nobody endorses themselves")
                    cites.append(cited.oneself)
                recent = held.recent(each.given)
                if not all(recent):
                    known = recent
                    why.append(_lapsed(held, recent))
                    cites.append(cited.recent)
                if _not_rated(held, each, crafts):
                    why.append(f"the ratings recorded for {held.name} do not cover the {each.aircraft_model}")
                    cites.append(cited.ratings)
        if why:
            doubtful = known == (True, False) and len(why) == 1
            yield Found(
                kind="endorsement-authority",
                severity=INCOMPLETE if doubtful else SERIOUS,
                about=(each.id,),
                day=each.given,
                entries=(each.id,),
                says=f"The endorsement {each.kind} given {each.given} by {named(each.instructor)} was without"
                f" authority: {'; '.join(why)}.",
                citations=tuple(dict.fromkeys(section for section, _ in cites)),
                mend=CORRECTION if each.instructor is None or not each.instructor.certificate else NOTHING,
                way="If the school's record of the instructor or the entry is wrong, correct it; else note"
                " what was done, and have an authorized instructor endorse.",
                verified=_weakest(cites),
                two_times=known is not None,
                now=known and known[0],
                then=known and known[1],
            )


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


def _not_rated(held: Held, each: Endorsement, crafts: Mapping[str, tuple[Craft, ...]]) -> bool:
    known = crafts.get(same(each.aircraft_model)) if each.aircraft_model else None
    if held.ratings is None or not known:
        return False
    return all(covered(held.ratings, *craft) is False for craft in known)


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
    days: dict[tuple[str, date, int], list[Lesson]] = {}
    lessons: list[Lesson] = [each for each in record.flights if each.times.get("dual")]
    lessons += [*record.ground, *record.items]
    for each in lessons:
        held = each.instructor and instructors[each.instructor]
        if not held:
            continue
        if not all(held.recent(each.date)):
            days.setdefault(("lapsed", each.date, held.user), []).append(each)
        if held.user == student_user:
            days.setdefault(("oneself", each.date, held.user), []).append(each)
        if (
            isinstance(each, Flight)
            and each.aircraft.device is None
            and held.ratings is not None
            and covered(held.ratings, each.aircraft.category, each.aircraft.klass) is False
        ):
            days.setdefault(("ratings", each.date, held.user), []).append(each)
        elif held.ratings is not None and _for_an_instrument_rating(each):
            assert isinstance(each, Flight)
            if instrument(held.ratings, each.aircraft.category) is False:
                days.setdefault(("instrument", each.date, held.user), []).append(each)
    for (why, day, user), entries in days.items():
        first = entries[0]
        held = first.instructor and instructors[first.instructor]
        assert held
        cited = cited_on(day)
        section, verified, words = {
            "lapsed": (*cited.recent, _lapsed(held, held.recent(day))),
            "oneself": (*cited.oneself, "the instructor is the student"),
            "ratings": (*cited.ratings, "the ratings recorded for the instructor do not cover the aircraft"),
            "instrument": (
                *cited.instrument,
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
            entries=tuple(sorted({each.id for each in entries})),
            says=f"Training on {day} by {named(first.instructor)}: {words}. Training by nobody but an"
            " authorized instructor counts.",
            citations=(section,),
            mend=A_NOTE if doubtful else NOTHING,
            way="If the school's record of the instructor is wrong, correct it; else note it: an authorized"
            " instructor gives the training again.",
            verified=verified,
            two_times=recent is not None,
            now=recent and recent[0],
            then=recent and recent[1],
        )


def _for_an_instrument_rating(lesson: Lesson) -> bool:
    """Whether a lesson is instrument training for that rating, by its own words.

    Basic instrument training toward another certificate asks for no such rating (14 CFR 61.195(l)).
    """
    if not isinstance(lesson, Flight) or lesson.aircraft.device is not None:
        return False
    instrument_time = any(lesson.times.get(f"{how}_instrument") for how in ("actual", "simulated"))
    return instrument_time and FOR_INSTRUMENT in lesson.purposes


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
            says=f"{named(who)} signed {len(seen)} {many} from {first} to {last} and is none of the school's"
            " instructors: whether they were authorized then is not on record here.",
            citations=(cited[0],),
            mend=A_NOTE,
            way="Note where their certificate was seen, such as a transfer from another school.",
            verified=cited[1],
        )


@dataclass(frozen=True, slots=True)
class PutOnRecord:
    """When an entry was put on record at the school, and by which user; None where nothing says.

    ``by_server``: whoever runs the server did.
    """

    on: date
    by: int | None
    by_server: bool = False


def claimed(
    record: Record,
    instructors: Mapping[Instructor, Held | None],
    put: Mapping[tuple[str, str], PutOnRecord],
    cited_on: Callable[[date], Cited],
) -> Iterator[Found]:
    """Endorsements and tests that name an instructor of the school and that nobody vouches for.

    ``put`` says of each, by its list and id, how it came on record. Told where somebody else than that
    instructor put it there, or where it is of an earlier day than it came.
    """
    for part in SIGNED_PARTS:
        for each in getattr(record, part):
            held = each.instructor and instructors[each.instructor]
            how = put.get((part, each.id))
            if each.provenance != CLAIMED or not held or how is None:
                continue
            day = entry_day(each)
            another = how.by_server or (how.by is not None and how.by != held.user)
            if not another and day >= how.on:
                continue
            what = "endorsement" if isinstance(each, Endorsement) else "test"
            who = "somebody else" if another else "this instructor, or nobody known,"
            section, verified = cited_on(day)
            yield Found(
                kind="entry-claimed",
                severity=SERIOUS if another else INCOMPLETE,
                about=(each.id,),
                day=day,
                entries=(each.id,),
                says=f"The {what} {each.kind} of {day} names {held.name}, who did not sign it here: {who} put"
                f" it on record on {how.on}, and nobody vouches for it.",
                citations=(section,),
                mend=CORRECTION,
                way=f"{held.name} compares it with the document and attests it, or gives it here; else take"
                " it off the record.",
                verified=verified,
            )


def attested_for(
    record: Record,
    named: Callable[[Instructor], Mapping[int, str]],
    attested: Mapping[tuple[str, str], int | None],
    cited_on: Callable[[date], Cited],
) -> Iterator[Found]:
    """Endorsements and tests that somebody attested who is not the instructor of the school they may mean.

    ``named`` gives the users with their names that an instructor's name or number may mean, those who left
    too; ``attested`` who attested an entry, by its list and id.
    """
    for part in SIGNED_PARTS:
        for each in getattr(record, part):
            by = attested.get((part, each.id))
            if each.provenance != ATTESTED or each.instructor is None or by is None:
                continue
            meant = named(each.instructor)
            if not meant or by in meant:
                continue
            what = "endorsement" if isinstance(each, Endorsement) else "test"
            who, day = " or ".join(sorted(set(meant.values()))), entry_day(each)
            section, verified = cited_on(day)
            yield Found(
                kind="entry-claimed",
                severity=SERIOUS,
                about=(each.id,),
                day=day,
                entries=(each.id,),
                says=f"The {what} {each.kind} of {day} names {each.instructor.name}, by name or certificate"
                f" {who} of this school, who did not sign it here: somebody else attested it.",
                citations=(section,),
                mend=CORRECTION,
                way=f"{who} compares it with the document, or gives it here; else take it off the record.",
                verified=verified,
            )


#: Lists whose entries stand for an instructor's signature.
SIGNED_PARTS = ("endorsements", "tests")


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
    """Pairs of flights that were in the air at one time with the same aircraft, student or instructor.

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


def too_full(given: Iterable[Training], most: int, within: int) -> Iterator[Tally]:
    """Every stretch of hours that holds too much training, or may: the fullest first, none told twice.

    Entries that lie together are looked at by themselves; those of a stretch that was told are not told
    again. Linear in the entries but for the few that lie close together.
    """
    ordered = sorted(given, key=lambda each: (each.first, each.id))
    groups: list[list[Training]] = []
    for each in ordered:
        if groups and each.first <= max(one.last for one in groups[-1][-8:]) + within:
            groups[-1].append(each)
        else:
            groups.append([each])
    for group in groups:
        for crowd in _crowded(group, most, within):
            left = crowd
            while left and (tally := fullest(left, within)) is not None:
                exceeded = tally.exceeds(most)
                if exceeded is False:
                    break
                window = tally.sure if exceeded else tally.possible
                yield tally
                left = [each for each in left if each.id not in window.entries]


def _crowded(group: list[Training], most: int, within: int) -> Iterator[list[Training]]:
    """The runs of a group in which some hours could hold too much at all."""
    marked: set[int] = set()
    start, held = 0, 0
    for index, each in enumerate(group):
        held += each.most
        while group[start].last + within < each.first:
            held -= group[start].most
            start += 1
        if held > most:
            marked.update(range(start, index + 1))
    run: list[Training] = []
    for before, index in pairwise([-2, *sorted(marked)]):
        if index != before + 1 and run:
            yield run
            run = []
        run.append(group[index])
    if run:
        yield run
