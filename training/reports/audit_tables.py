"""What an audit reads of a school's tables, once for all students, and the ids of its findings."""

import datetime as dt
import hashlib
import json
import zoneinfo
from collections import defaultdict
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from django.db.models import Case, Q, TextField, When

from syllabus.engine.audit.audit import Found, Minimums
from syllabus.engine.audit.instructing import Training, read_ratings
from syllabus.engine.audit.school import Flown, Held, Instructors
from syllabus.engine.record.record import Instructor
from syllabus.engine.rules.facts import same
from syllabus.engine.rules.rulebook import Requirement, RuleVersion
from syllabus.models import SchoolMinimum
from training import models
from training.models import Aircraft, PeopleChange, Role, School, Student, User
from training.reports import instructing, named
from training.reports.audit_aircraft import Fleet
from training.reports.audit_releases import Releases


@dataclass(frozen=True, slots=True)
class Told:
    """A finding with its subject: a student's record, an instructor's own, or the school.

    ``places`` are the entries, each with its student's reference.
    """

    found: Found
    student: Student | None = None
    instructor: int | None = None
    places: tuple[tuple[str, str], ...] = ()

    @property
    def key(self) -> str:
        """Identifies the finding from one audit to the next, whatever else is learned about it."""
        whose = str(self.student.ref) if self.student else str(self.instructor or "")
        said = json.dumps([self.found.kind, whose, *self.found.about], ensure_ascii=False)
        return hashlib.sha256(said.encode()).hexdigest()

    def as_json(self) -> dict[str, Any]:
        """What is stored of it."""
        body = self.found.as_json()
        ref = str(self.student.ref) if self.student else None
        entries: list[tuple[str | None, str]] = [*self.places] or [
            (ref, entry) for entry in self.found.entries
        ]
        return {**body, "entries": [{"student": whose, "id": entry} for whose, entry in entries]}

    @property
    def digest(self) -> str:
        """A hash over what was found, without its words; it changes if the matter changes."""
        body = self.as_json()
        essentials = [
            self.found.kind,
            self.found.severity,
            body["entries"],
            body["known"],
            [[each["requirement"], each["met_now"], each["met_then"]] for each in body["unmet"]],
        ]
        return hashlib.sha256(json.dumps(essentials, sort_keys=True).encode()).hexdigest()


def found(rule: RuleVersion | None, day: dt.date, about: tuple[str, ...], **said: Any) -> Found:
    """A finding under one rule, which it cites; None for common sense, or a promise of this program."""
    section, verified = rule.cited if rule else ("no regulation", "read")
    said.setdefault("entries", about)
    return Found(day=day, about=about, citations=(section,), verified=verified, **said)


#: The id of an entry that is on record; none of a retired one, so that one row is enough.
_SIGNED_ID = Case(When(retired_at__isnull=True, then="entry_id"), output_field=TextField(null=True))


class Known(dict[Instructor, Held | None]):
    """Which of the school's instructors an entry may mean, looked up once for each name or number."""

    def __init__(self, instructors: Instructors):
        super().__init__()
        self._instructors = instructors

    def __missing__(self, said: Instructor) -> Held | None:
        self[said] = found = self._instructors.of(said)
        return found


@dataclass
class Audited:
    """What is the same for every student of a school."""

    school: School
    on: dt.date
    at: dt.datetime
    known: Known
    crafts: dict[str, tuple[tuple[str | None, str | None], ...]]
    retired: dict[int, set[dt.datetime]]
    signed: dict[int, frozenset[str]]
    minimums: Minimums
    fleet: Fleet
    releases: Releases
    flown: list[Flown] = field(default_factory=list)
    given: dict[int, list[Training]] = field(default_factory=lambda: defaultdict(list))
    by_pk: dict[int, Student] = field(default_factory=dict)
    under: dict[int, tuple[str, ...]] = field(default_factory=dict)
    _after: dict[dt.date, dt.datetime] = field(default_factory=dict)

    @classmethod
    def of(cls, school: School, on: dt.date, at: dt.datetime, student: Student | None = None) -> "Audited":
        """Of every student of a school, or of one alone."""
        crafts: dict[str, set[tuple[str | None, str | None]]] = defaultdict(set)
        fleet = Aircraft.objects.filter(school=school, device="").values_list("model", "category", "klass")
        for model, category, klass in fleet:
            crafts[same(model)].add((category or None, klass or None))
        about = {"school": school, **({"student": student} if student else {})}
        retired: dict[int, set[dt.datetime]] = defaultdict(set)
        signed: dict[int, set[str]] = defaultdict(set)
        first, *others = (
            table._default_manager.filter(Q(retired_at__isnull=False) | Q(sealed=True), **about)
            .order_by()
            .values_list("student_id", "retired_at", _SIGNED_ID)
            for table in models.ENTRIES
        )
        for pk, instant, name in first.union(*others):
            if instant is not None:
                retired[pk].add(instant)
            else:
                signed[pk].add(name)
        return cls(
            school,
            on,
            at,
            Known(_instructors(school)),
            {model: tuple(sorted(each, key=str)) for model, each in crafts.items()},
            retired,
            {pk: frozenset(each) for pk, each in signed.items()},
            _minimums(school),
            Fleet.of(school),
            Releases.of(school),
        )

    def meant(self, said: Instructor) -> dict[int, str]:
        """The instructors, current and former, whom a name or number may mean."""
        return {each.user: each.name for each in self._everybody if each.may_be(said)}

    @cached_property
    def zone(self) -> zoneinfo.ZoneInfo:
        return zoneinfo.ZoneInfo(self.school.time_zone)

    @cached_property
    def _everybody(self) -> list[named.Known]:
        return list(named.instructors(self.school.pk))

    def after(self, day: dt.date) -> dt.datetime:
        """The first instant after a day at the school."""
        if day not in self._after:
            end = dt.datetime.combine(day + dt.timedelta(days=1), dt.time(), self.zone)
            self._after[day] = end.astimezone(dt.UTC)
        return self._after[day]


def _minimums(school: School) -> Minimums:
    """Every minimum that the school ever had. One query."""
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
    held = {user: replace(each, thought_lapsed=tuple(thought[user])) for user, each in held.items()}
    also: dict[str, Held] = {}
    first, *others = (
        model._default_manager.filter(
            school=school, instructor_user__in=held, instructor_certificate__isnull=False
        )
        .order_by()
        .values_list("instructor_certificate", "instructor_user")
        for model in (models.Flight, models.GroundLesson, models.ItemGrade, models.Endorsement)
    )
    for number, user in first.union(*others):
        if number and user:
            also.setdefault(number, held[user])
    return Instructors(tuple(held.values()), also)


def _changes(school: School, held: dict[int, Held]) -> dict[int, list[tuple[dt.date, dt.date]]]:
    """The days on which instructors' recent experience had expired, as recorded then; also adds former
    instructors to ``held``.

    Before each change of a role, the role was what that change recorded as the old state.
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
        if "recent_experience_until" not in before:
            continue
        if until := before["recent_experience_until"]:
            lapsed = dt.date.fromisoformat(until) + dt.timedelta(days=1)
            first, last = max(lapsed, since.get(user, lapsed)), day - dt.timedelta(days=1)
            if first <= last:
                thought[user].append((first, last))
        since[user] = day
    return thought


def _left(user: User, before: dict[str, Any]) -> Held:
    """A former instructor, with what the role last held."""
    until, ratings = before.get("recent_experience_until"), before.get("ratings")
    return Held(
        user.pk,
        str(user),
        before.get("certificate") or "",
        dt.date.fromisoformat(until) if until else None,
        None if ratings is None else read_ratings(ratings),
    )
