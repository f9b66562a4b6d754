"""A school's records held against the rules in force on each entry's own day. Reads only, decides nothing.

Each record is read once. Milestones, days and words are the engine's (``syllabus.engine.audit.audit``); what
is added here is what only the school's tables say: who may sign, which entries were signed here and when,
what was taken off the record, drafts nobody signed, lessons nobody acknowledged.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import hashlib
import json
import logging
import zoneinfo
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from django.db import DatabaseError

from syllabus.engine.audit import claims, one_record
from syllabus.engine.audit import school as audit_school
from syllabus.engine.audit.audit import (
    A_NOTE,
    CORRECTION,
    INCOMPLETE,
    NOTE,
    SERIOUS,
    Audited,
    Found,
    Minimums,
    TakenOff,
)
from syllabus.engine.audit.instructing import Training, Window, read_ratings, too_full, training
from syllabus.engine.audit.school import Citations, Flown, Held, Instructors
from syllabus.engine.record.record import ATTESTED, CLAIMED, Instructor, Record
from syllabus.engine.rules.facts import same
from syllabus.engine.rules.rulebook import Requirement, RuleVersion
from syllabus.engine.time.units import format_time
from syllabus.law import auditing, endorsements, rulebook
from syllabus.law import instructing as about_instructors
from syllabus.law.instructing import HOURS_IN_24
from syllabus.models import SchoolMinimum
from training import models, record
from training.models import Aircraft, LessonRecord, PeopleChange, Role, School, SignOff, Student, User
from training.reports import instructing, named, settings
from training.reports.audit_kinds import NOT_AUDITED

log = logging.getLogger(__name__)
_MICROSECOND = dt.timedelta(microseconds=1)
_EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
_TWO_DAYS = dt.timedelta(days=2)


@dataclass(frozen=True, slots=True)
class Told:
    """A finding with whom it is about: a student's record, an instructor's own, or the school.

    ``places`` are the entries with the reference of the student on whose record each stands.
    """

    found: Found
    student: Student | None = None
    instructor: int | None = None
    places: tuple[tuple[str, str], ...] = ()

    @property
    def key(self) -> str:
        """The same for the same finding, whatever else is learnt about it."""
        whose = str(self.student.ref) if self.student else str(self.instructor or "")
        said = json.dumps([self.found.kind, whose, *self.found.about], ensure_ascii=False)
        return hashlib.sha256(said.encode()).hexdigest()

    def as_json(self) -> dict[str, Any]:
        """What is kept of it."""
        body = self.found.as_json()
        ref = str(self.student.ref) if self.student else None
        entries: list[tuple[str | None, str]] = [*self.places] or [
            (ref, entry) for entry in self.found.entries
        ]
        return {**body, "entries": [{"student": whose, "id": entry} for whose, entry in entries]}

    @property
    def digest(self) -> str:
        """Over what was found, without its words: where it changes, the matter is another."""
        body = self.as_json()
        essentials = [
            self.found.kind,
            self.found.severity,
            body["entries"],
            body["known"],
            [[each["requirement"], each["met_now"], each["met_then"]] for each in body["unmet"]],
        ]
        return hashlib.sha256(json.dumps(essentials, sort_keys=True).encode()).hexdigest()


class _Known(dict[Instructor, Held | None]):
    """Which of the school's instructors an entry means, looked up once for each way of naming one."""

    def __init__(self, instructors: Instructors):
        super().__init__()
        self._instructors = instructors

    def __missing__(self, said: Instructor) -> Held | None:
        self[said] = found = self._instructors.of(said)
        return found


@dataclass
class _School:
    """What is the same for every student of a school."""

    school: School
    on: dt.date
    at: dt.datetime
    known: _Known
    crafts: dict[str, tuple[tuple[str | None, str | None], ...]]
    retired: dict[int, set[dt.datetime]]
    signed: dict[int, frozenset[str]]
    minimums: Minimums
    flown: list[Flown] = field(default_factory=list)
    given: dict[int, list[Training]] = field(default_factory=lambda: defaultdict(list))
    by_pk: dict[int, Student] = field(default_factory=dict)
    _after: dict[dt.date, dt.datetime] = field(default_factory=dict)

    @classmethod
    def of(cls, school: School, on: dt.date, at: dt.datetime) -> _School:
        crafts: dict[str, set[tuple[str | None, str | None]]] = defaultdict(set)
        fleet = Aircraft.objects.filter(school=school, device="").values_list("model", "category", "klass")
        for model, category, klass in fleet:
            crafts[same(model)].add((category or None, klass or None))
        retired: dict[int, set[dt.datetime]] = defaultdict(set)
        signed: dict[int, set[str]] = defaultdict(set)
        for table in models.ENTRIES:
            whose = table._default_manager.filter(school=school)
            gone = whose.filter(retired_at__isnull=False).values_list("student_id", "retired_at")
            for student, instant in gone.distinct():
                if instant is not None:
                    retired[student].add(instant)
            here = whose.filter(sealed=True, retired_at__isnull=True).values_list("student_id", "entry_id")
            for student, entry in here:
                signed[student].add(entry)
        return cls(
            school,
            on,
            at,
            _Known(_instructors(school)),
            {model: tuple(sorted(each, key=str)) for model, each in crafts.items()},
            retired,
            {student: frozenset(each) for student, each in signed.items()},
            _minimums(school),
        )

    def meant(self, said: Instructor) -> dict[int, str]:
        """The instructors of now and of before whom a name or number may mean."""
        return {each.user: each.name for each in self._everybody if each.may_be(said)}

    @cached_property
    def _everybody(self) -> list[named.Known]:
        return list(named.instructors(self.school.pk))

    def after(self, day: dt.date) -> dt.datetime:
        """The first instant after a day at the school."""
        if day not in self._after:
            zone = zoneinfo.ZoneInfo(self.school.time_zone)
            end = dt.datetime.combine(day + dt.timedelta(days=1), dt.time(), zone)
            self._after[day] = end.astimezone(dt.UTC)
        return self._after[day]

    def cited(self, day: dt.date) -> Citations:
        """Where the rules about instructors stood."""

        def where(name: str) -> tuple[str, str]:
            rule = instructing.rule(name, day)
            return rule.cite.section, rule.verified

        return Citations(
            where("authorized"),
            where("recent-experience"),
            where("not-oneself"),
            where("category-and-class"),
            where("instrument-training"),
        )


def _minimums(school: School) -> Minimums:
    """What the school asked for beyond the law at any time. One query."""
    found: dict[str, tuple[Requirement, ...]] = defaultdict(tuple)
    for row in SchoolMinimum.objects.filter(school_ref=school.slug).order_by("starts", "pk"):
        found[row.milestone] += (row.as_requirement(),)
    return found


def _instructors(school: School) -> Instructors:
    roles = Role.objects.filter(school=school, role=Role.Kind.INSTRUCTOR).select_related("user")
    held = {
        role.user_id: Held(
            role.user_id,
            str(role.user),
            role.certificate,
            role.recent_experience_until,
            instructing.ratings(role),
        )
        for role in roles.order_by("pk")
    }
    thought = _changes(school, held)
    held = {
        user: dataclasses.replace(each, thought_lapsed=tuple(thought.get(user, ())))
        for user, each in held.items()
    }
    also: dict[str, Held] = {}
    for model in (models.Flight, models.GroundLesson, models.ItemGrade, models.Endorsement):
        rows = model._default_manager.filter(
            school=school, instructor_user__in=held, instructor_certificate__isnull=False
        )
        for number, user in (
            rows.order_by().values_list("instructor_certificate", "instructor_user").distinct()
        ):
            if number and user:
                also.setdefault(number, held[user])
    return Instructors(tuple(held.values()), also)


def _changes(school: School, held: dict[int, Held]) -> dict[int, list[tuple[dt.date, dt.date]]]:
    """The days on which instructors had lapsed by what was on record then; and whoever left joins ``held``.

    What was on record between two changes of a role is what the later one says stood before it.
    """
    thought: dict[int, list[tuple[dt.date, dt.date]]] = defaultdict(list)
    since: dict[int, dt.date] = {}
    rows = PeopleChange.objects.filter(school=school, what__startswith="instructor ", user__isnull=False)
    for row in rows.select_related("user").order_by("at", "pk"):
        assert row.user is not None
        user, day, before = row.user.pk, school.day(row.at), row.before or {}
        if row.what == "instructor added":
            since[user] = day
        if row.what == "instructor ended" and user not in held:
            held[user] = _left(row.user, before)
        until = before.get("recent_experience_until")
        if "recent_experience_until" not in before:
            continue
        if until is not None:
            first = dt.date.fromisoformat(until) + dt.timedelta(days=1)
            last = day - dt.timedelta(days=1)
            if max(first, since.get(user, first)) <= last:
                thought[user].append((max(first, since.get(user, first)), last))
        since[user] = day
    return thought


def _left(user: User, before: dict[str, Any]) -> Held:
    """An instructor who left, with what their role held last."""
    until, ratings = before.get("recent_experience_until"), before.get("ratings")
    return Held(
        user.pk,
        str(user),
        before.get("certificate") or "",
        dt.date.fromisoformat(until) if until else None,
        None if ratings is None else read_ratings(ratings),
    )


def audit(
    school: School,
    on: dt.date,
    *,
    at: dt.datetime,
) -> Iterator[Told]:
    """Everything an audit of a school finds about days up to ``on``, by what is known at ``at``.

    The law is asked, and beside it the school's own minimums, which are told as the school's. Queries: those
    of ``record.of`` for each student, more where entries were taken off the record, and about twenty for the
    school.
    """
    for _student, told in by_student(school, on, at=at):
        yield from told


def by_student(
    school: School, on: dt.date, *, at: dt.datetime
) -> Iterator[tuple[Student | None, Iterable[Told]]]:
    """The same student by student, so that one can tell how far it is; of the school itself at the end."""
    whole = _School.of(school, on, at)
    students = Student.objects.filter(school=school).select_related("school").order_by("pk")
    for student in students.iterator(chunk_size=200):
        whole.by_pk[student.pk] = student
        yield student, [Told(each, student) for each in _all_of(whole, student) if each.day <= on]
    for rest in (_hours, _two_places, _unsigned, _unacknowledged):
        yield None, rest(whole)


def _all_of(whole: _School, student: Student) -> list[Found]:
    """What a student's record shows; where it cannot be audited, that, so that the others still are."""
    try:
        return list(_of_student(whole, student))
    except DatabaseError:
        raise  # it is nothing about this record
    except Exception as fault:
        log.exception("the record of student %s could not be audited", student.ref)
        return [_not_audited(whole.on, fault)]


def _not_audited(on: dt.date, fault: Exception) -> Found:
    rule = auditing.current().near("whole-record", on)
    return Found(
        kind=NOT_AUDITED,
        severity=SERIOUS,
        about=(),
        day=on,
        entries=(),
        says=f"The record could not be audited ({type(fault).__name__}: {str(fault)[:200]}). What earlier"
        " audits found about it stands as it was.",
        citations=(rule.cite.section,),
        mend=A_NOTE,
        way="Tell whoever runs the server: its log has the whole fault.",
        verified=rule.verified,
    )


def _of_student(whole: _School, student: Student) -> Iterator[Found]:
    known = record.of(student, known_at=whole.at)
    audited = Audited(
        known,
        whole.on,
        whole.after,
        _taken_off(student, known, whole.retired.get(student.pk, set()), whole.at),
        whole.signed.get(student.pk, frozenset()),
        settings.of(student.school),
    )
    _collect(whole, student, known)
    yield from one_record.findings(
        audited, rulebook.current(), auditing.current(), endorsements.current().kinds, whole.minimums
    )
    cited = whole.cited(whole.on)
    yield from audit_school.endorsed(known, whole.known, student.user_id, whole.crafts, whole.cited)
    yield from audit_school.gave(known, whole.known, student.user_id, whole.cited)
    yield from audit_school.strangers(known, whole.known, cited.authorized)
    if put := _put_on_record(whole, student, known):
        yield from claims.claimed(known, whole.known, put, _where_signed)
    signed = (each for part in claims.SIGNED_PARTS for each in getattr(known, part))
    if any(each.provenance == ATTESTED and each.instructor for each in signed):
        attested = named.attesters(student, f"school-{whole.school.pk}")
        yield from claims.attested_for(known, whole.meant, attested, _where_signed)


def _where_signed(day: dt.date) -> tuple[str, str]:
    """Where the rule stands that an instructor signs."""
    rule = auditing.current().near("signed-training", day)
    return rule.cite.section, rule.verified


def _put_on_record(
    whole: _School, student: Student, known: Record
) -> dict[tuple[str, str], claims.PutOnRecord]:
    """How each claimed endorsement and test came on record. One query, where there is any; else none."""
    recorded = {
        (part, each.id): each.recorded
        for part in claims.SIGNED_PARTS
        for each in getattr(known, part)
        if each.provenance == CLAIMED and each.recorded is not None
    }
    if not recorded:
        return {}
    changes = models.RecordChange.objects.filter(student=student, at__in=set(recorded.values()))
    by = dict(changes.values_list("at", "by_id"))
    return {
        key: claims.PutOnRecord(whole.school.day(at), by.get(at), by_server=at in by and by[at] is None)
        for key, at in recorded.items()
    }


def _taken_off(
    student: Student, known: Record, instants: Iterable[dt.datetime], at: dt.datetime
) -> tuple[TakenOff, ...]:
    """What was on record once and is so no longer: one reading for each instant at which something went."""
    there = {(part, each.id): each for part in Record.PARTS for each in getattr(known, part)}
    gone: dict[tuple[str, str, dt.datetime], TakenOff] = {}
    for instant in sorted(each for each in instants if each <= at):
        before = record.of(student, known_at=instant - _MICROSECOND)
        for part in Record.PARTS:
            for each in getattr(before, part):
                if each.recorded is not None and there.get((part, each.id)) != each:
                    gone[part, each.id, each.recorded] = TakenOff(part, each, each.recorded, instant)
    return tuple(gone.values())


def _collect(whole: _School, student: Student, known: Record) -> None:
    """What lies across several records: who was in the air when, and what an instructor gave."""
    zone = zoneinfo.ZoneInfo(whole.school.time_zone)
    for flight in known.flights:
        held = whole.known[flight.instructor] if flight.instructor else None
        craft = flight.aircraft
        if flight.off is not None and flight.on is not None and flight.date <= whole.on:
            who = None
            if flight.instructor is not None and flight.times.get("dual"):
                who = str(held.user) if held else str(flight.instructor.certificate or flight.instructor.name)
            whole.flown.append(
                Flown(
                    student.pk,
                    flight.id,
                    flight.date,
                    (flight.off - _EPOCH) // _MICROSECOND,
                    (flight.on - _EPOCH) // _MICROSECOND,
                    same(craft.registration) if craft.registration else None,
                    who,
                )
            )
        if held is not None and flight.date <= whole.on and instructing.is_training(flight):
            logged = flight.times.get("dual")
            most = flight.times.get("total") if logged is None else logged
            whole.given[held.user].append(
                training(
                    f"{student.pk}/{flight.id}", flight.date, zone, logged or 0, most, flight.off, flight.on
                )
            )


def _hours(whole: _School) -> Iterator[Told]:
    """More flight training in so many hours than is allowed: every stretch of it, by instructor.

    Each version of the rule counts the hours whose first flight was on a day on which it was in force.
    """
    names = {held.user: held for held in whole.known.values() if held}
    for user, given in sorted(whole.given.items()):
        days = {each.id: whole.school.day(_EPOCH + each.first * _MICROSECOND) for each in given}
        for rule in about_instructors.current()[HOURS_IN_24]:
            most, within = rule.params["most"], rule.params["within"]
            near = [each for each in given if _near(rule, days[each.id])]
            for tally in too_full(near, most, within):
                exceeded = tally.exceeds(most)
                window = tally.sure if exceeded else tally.possible
                day = min(days[each] for each in window.entries)
                if instructing.rule(HOURS_IN_24, day) == rule:
                    yield _too_full(whole, names[user], rule, window, day, bool(exceeded))


def _near(rule: RuleVersion, day: dt.date) -> bool:
    """Whether hours that are the version's to count may hold training of that day."""
    return day >= rule.first - _TWO_DAYS and (rule.last is None or day <= rule.last + _TWO_DAYS)


def _too_full(
    whole: _School, held: Held, rule: RuleVersion, window: Window, day: dt.date, exceeded: bool
) -> Told:
    places = []
    for each in sorted(window.entries):
        pk, _, entry = each.partition("/")
        places.append((str(whole.by_pk[int(pk)].ref), entry))
    gave = "gave" if exceeded else "may have given"
    found = Found(
        kind="training-hours",
        severity=SERIOUS if exceeded else INCOMPLETE,
        about=tuple(f"{ref}/{entry}" for ref, entry in places),
        day=day,
        entries=tuple(entry for _, entry in places),
        says=f"{held.name} {gave} {format_time(window.amount)} of flight training within"
        f" {format_time(rule.params['within'])} on the clock from {window.start:%Y-%m-%d %H:%M} UTC on; at"
        f" most {format_time(rule.params['most'])} are allowed, as far as this school's record says.",
        citations=(rule.cite.section,),
        mend=A_NOTE if exceeded else CORRECTION,
        way="If a time is wrong or missing, correct it; else note it.",
        verified=rule.verified,
    )
    return Told(found, None, held.user, tuple(places))


def _two_places(whole: _School) -> Iterator[Told]:
    rules = auditing.current()
    for one, other, shared in audit_school.in_two_places(whole.flown):
        first, second = whole.by_pk[one.student], whole.by_pk[other.student]
        rule = rules.near("one-place", other.day)
        places = ((str(first.ref), one.entry), (str(second.ref), other.entry))
        found = Found(
            kind="two-places",
            severity=SERIOUS,
            about=tuple(sorted(f"{ref}/{entry}" for ref, entry in places)),
            day=other.day,
            entries=(one.entry, other.entry),
            says=f"Two flights of {other.day} were in the air at one time with the same"
            f" {' and '.join(shared)}.",
            citations=(rule.cite.section,),
            mend=CORRECTION,
            way="Correct the entry whose times, aircraft or instructor are wrong.",
            verified=rule.verified,
        )
        yield Told(found, first, None, places)


def _limit(school: School) -> dt.timedelta:
    """How long after its day a lesson may wait for a signature: the school's own limit, else not at all."""
    return dt.timedelta(days=school.late_after_days or 0)


def _unsigned(whole: _School) -> Iterator[Told]:
    rules = auditing.current()
    drafts = LessonRecord.objects.filter(
        school=whole.school, state=LessonRecord.State.DRAFT, created_at__lte=whole.at
    ).select_related("student", "instructor")
    for draft in drafts.order_by("created_at", "pk"):
        if draft.only_planned:
            continue
        written, taught = whole.school.day(draft.created_at), _day_of(draft)
        day = written if draft.corrects_id or taught is None else taught
        if day + _limit(whole.school) >= whole.on:
            continue
        rule = rules.near("signed-training", day)
        age = (whole.on - day).days
        what = f"The lesson of {day}"
        if draft.corrects_id:
            what = f"The correction of the lesson of {taught or day}, written {written}"
        found = Found(
            kind="lesson-unsigned",
            severity=INCOMPLETE,
            about=(str(draft.pk),),
            day=day,
            entries=(str(draft.pk),),
            says=f"{what}, drafted by {draft.instructor}, was not signed {age}"
            f" {'day' if age == 1 else 'days'} later.",
            citations=(rule.cite.section,),
            mend=CORRECTION,
            way="The instructor signs it as it stands, or corrects the draft and signs.",
            verified=rule.verified,
        )
        yield Told(found, whole.by_pk.get(draft.student_id, draft.student))


def _day_of(draft: LessonRecord) -> dt.date | None:
    """The day of a drafted lesson, where the draft says one that can be read."""
    for part in ("flight", "ground"):
        said = draft.content.get(part) if isinstance(draft.content, dict) else None
        if isinstance(said, dict) and isinstance(said.get("date"), str):
            try:
                return dt.date.fromisoformat(said["date"])
            except ValueError:
                continue
    return None


def _unacknowledged(whole: _School) -> Iterator[Told]:
    rules = auditing.current()
    signed = (
        SignOff.objects.filter(
            school=whole.school,
            at__lte=whole.at,
            acknowledgement__isnull=True,
            lesson__correction__isnull=True,
            student__user__isnull=False,
        )
        .select_related("student", "by")
        .order_by("at", "pk")
    )
    for each in signed:
        day = whole.school.day(each.at)
        if day + _limit(whole.school) >= whole.on:
            continue
        rule = rules.near("acknowledged", day)
        found = Found(
            kind="lesson-unacknowledged",
            severity=NOTE,
            about=(str(each.lesson_id),),
            day=day,
            entries=(str(each.lesson_id),),
            says=f"The lesson that {each.instructor_name} signed on {day} is not acknowledged by the"
            " student.",
            citations=(rule.cite.section,),
            mend=CORRECTION,
            way="The student acknowledges it.",
            verified=rule.verified,
        )
        yield Told(found, whole.by_pk.get(each.student_id, each.student))


def altered(sentence: str, on: dt.date) -> Told:
    """What does not fit the school's ledger, as a finding."""
    rule = auditing.current().near("as-sealed", on)
    found = Found(
        kind="record-altered",
        severity=SERIOUS,
        about=(sentence,),
        day=on,
        entries=(),
        says=f"{sentence[0].upper()}{sentence[1:]}.",
        citations=(rule.cite.section,),
        mend=A_NOTE,
        way="Find out who changed the tables, restore what was sealed, and note it.",
        verified=rule.verified,
    )
    return Told(found)
