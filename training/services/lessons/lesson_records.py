"""Drafts of lesson records: create, change, and check for warnings."""

import datetime as dt
import difflib
import uuid
from collections.abc import Iterator
from dataclasses import dataclass

from django.db import IntegrityError, transaction
from django.db.models import BigIntegerField, Count, F, Q, QuerySet

from syllabus.courses import outlines
from syllabus.engine.course import proving
from syllabus.engine.places.geography import distance_nm
from syllabus.engine.record import record as engine
from syllabus.engine.rules import facts
from syllabus.engine.time.units import HOUR, MINUTE, format_time
from syllabus.law import auditing
from syllabus.models import CourseVersion
from training.models import LessonRecord, Student, User
from training.presenters import amounts
from training.record import of as record_of
from training.reports import authorities
from training.services import access
from training.services.endorsements import signing_authority
from training.services.errors import Changed, Conflict, NotAllowed
from training.services.lessons import lesson_content, lesson_hints, lesson_plans
from training.services.lessons.lesson_content import Content, LessonError
from training.services.lessons.lesson_overlaps import overlaps
from training.sql import Place, Statement

#: A larger difference between typed and computed times is a warning: common practice, logbooks have tenths.
TOLERANCE = 6 * MINUTE
#: Logbooks have tenths of an hour: a time from the clock may be rounded up to the next tenth.
_TENTH = 6 * MINUTE


class AlreadySigned(Conflict):
    """A signed lesson record is corrected, not changed."""


@dataclass(frozen=True, slots=True)
class Computed:
    """Calculated from times and route, to show beside what was typed; None if the entry has too little."""

    night: int | None
    distance: float | None

    def as_json(self) -> dict[str, str | None]:
        return {
            "night": None if self.night is None else format_time(self.night),
            "distance": None if self.distance is None else f"{self.distance:.1f} NM",
        }


def visible(student: Student, to: User, *, on: dt.date) -> QuerySet[LessonRecord]:
    """The lesson records of a student that a user may see on a day.

    Drafts are for those who may write the record. The student, and anyone who may only read it, sees signed
    lessons.
    """
    found, signed = _of(student), Q(state=LessonRecord.State.SIGNED)
    if student.user_id == to.pk:
        return found.filter(signed)
    return found.filter(signed | Q(student__in=access.visible_students(to, access.WRITE, on=on)))


def listed(student: Student, *, drafts: bool) -> QuerySet[LessonRecord]:
    """As ``visible``, for a caller that knows whether the reader sees drafts."""
    found = _of(student)
    return found if drafts else found.filter(state=LessonRecord.State.SIGNED)


_WAITING = Statement(
    lambda: (
        LessonRecord.objects.filter(student_id=Place("student", BigIntegerField()))
        .order_by()
        .values("student_id")
        .annotate(
            unsigned=Count(
                "pk",
                filter=Q(
                    sign_off__isnull=False, sign_off__acknowledgement__isnull=True, correction__isnull=True
                ),
            ),
            drafts=Count("pk", filter=Q(state=LessonRecord.State.DRAFT, off_at__isnull=False)),
        )
        .values_list("unsigned", "drafts")
    )
)


def waiting(student: Student) -> tuple[int, int]:
    """How many lessons wait for the student's own signature, and how many flown ones for the instructor's.

    One query.
    """
    [found] = _WAITING.rows(student=student.pk) or [(0, 0)]
    return found


def _of(student: Student) -> QuerySet[LessonRecord]:
    return LessonRecord.objects.filter(student=student).select_related(
        "student__school",
        "instructor",
        "sign_off__by",
        "sign_off__acknowledgement__by",
        "correction",
        "corrects",
        "course_version__course",
    )


def may_write(by: User, student: Student, on: dt.date) -> bool:
    """Whether a user may write and sign lessons of a student: an instructor who may write the record."""
    teaches = access.schools(by, access.INSTRUCT).filter(pk=student.school_id)
    return teaches.exists() and access.may(by, access.WRITE, student, on=on)


def create(
    student: Student,
    *,
    id: uuid.UUID,
    lesson: str,
    content: object,
    by: User,
    at: dt.datetime,
    via: str,
    corrects: LessonRecord | None = None,
    reason: str = "",
) -> LessonRecord:
    """Create the draft of a lesson record. Sending the same again returns the first one.

    It belongs to the version of the course in which the student is enrolled on the lesson's day; a correction
    to that of the lesson it corrects. Without ``content`` the draft has the planned items, ungraded: those of
    the lesson, by default of the next one, and those carried over.

    Raises: LessonError with every error; NotAllowed; Conflict if other content has the id.
    Effects: one transaction; the access is logged.
    """
    if content is None:
        there = LessonRecord.objects.filter(pk=id, student=student, lesson=lesson or F("lesson")).first()
        if there is not None:
            return _of(student).get(pk=id)
        lesson, content = lesson_plans.planned(student, lesson, student.school.day(at))
    found = lesson_content.read(content)
    made = LessonRecord(id=id, school_id=student.school_id, corrects=corrects, reason=reason, created_at=at)
    made.course_version = corrects.course_version if corrects else lesson_plans.version_of(student, found, at)
    _check_lesson(lesson, made.course_version)
    made.first_hash = _hash(made, lesson, found)
    try:
        with transaction.atomic():
            made.student = _locked(student, by, at)
            access.log(by, made.student, access.WRITE, f"lesson-record {id}", via=via, at=at)
            there = LessonRecord.objects.filter(pk=id).first()
            if there is None:
                _write(made, lesson, found, by, at)
                made.save(force_insert=True)
            elif there.student_id != student.pk or not _is_again(there, made, lesson, found):
                raise Conflict(_TAKEN)
    except IntegrityError:
        # Another student's lesson took the id at the same moment.
        raise Conflict(_TAKEN) from None
    return _of(student).get(pk=id)


def _hash(record: LessonRecord, lesson: str, content: Content) -> str:
    """The hash of a record with this content, for this lesson of its course."""
    corrects = str(record.corrects_id) if record.corrects_id else None
    course = lesson_content.course_of(record.course_version)
    return lesson_content.hash_of(lesson, content.plain, corrects, record.reason, course)


def _is_again(there: LessonRecord, made: LessonRecord, lesson: str, content: Content) -> bool:
    """Whether a draft was first sent as it is now, in today's course or that of its creation."""
    first, now = there.first_hash, made.first_hash
    made.course_version = there.course_version
    return first in (now, _hash(made, lesson, content))


def _check_lesson(lesson: str, version: CourseVersion | None) -> None:
    """Raises: LessonError if the course has no such lesson."""
    if version is None or not lesson:
        return
    known = [each.code for each in outlines.published(version).lessons]
    if lesson not in known:
        near = difflib.get_close_matches(lesson, known, n=3) or known[:3]
        says = f"{version} has no lesson {lesson!r}; it has {', '.join(near)} and others. Leave it out for"
        raise LessonError.at("lesson", f"{says} a lesson outside the course")


_TAKEN = "A lesson record with other content has this id. Send your own with a new UUID."


def change(
    record: LessonRecord,
    *,
    version: int | None,
    lesson: str,
    content: object,
    by: User,
    at: dt.datetime,
    via: str,
) -> LessonRecord:
    """Replace the content of a draft. ``version`` is the one the change is based on; None allows any.

    Raises: LessonError; NotAllowed; AlreadySigned; Changed.
    Effects: one transaction; the access is logged.
    """
    found = lesson_content.read(content)
    with transaction.atomic():
        whose = _locked(record.student, by, at)
        held = LessonRecord.objects.select_for_update(no_key=True).get(pk=record.pk)
        if held.state == LessonRecord.State.SIGNED:
            raise AlreadySigned("The lesson record is signed. What is signed stays; send a correction of it.")
        if version is not None and held.version != version:
            raise Changed("The draft has changed since you read it. Read it again, then send yours again.")
        if held.corrects_id is None:
            held.course_version = lesson_plans.version_of(whose, found, at)
        _check_lesson(lesson, held.course_version)
        if _hash(held, lesson, found) != held.content_hash:
            held.version += 1
        _write(held, lesson, found, by, at)
        held.save()
        access.log(by, whose, access.WRITE, f"lesson-record {held.pk}", via=via, at=at)
    return _of(whose).get(pk=held.pk)


def proves(record: LessonRecord, held: engine.Record | None = None) -> list[engine.ItemGrade]:
    """The rules' items that a lesson's grades prove; for a draft, as if it were signed now.

    ``held`` is the student's record if the caller has it.
    """
    if record.course_version_id is None:
        return []
    held = held or record_of(record.student)
    if record.state == LessonRecord.State.SIGNED:
        return [each for each in held.items if each.id.startswith(record.prefix + proving.MARK.strip("/"))]
    content = lesson_content.read(record.content)
    made = content.entries(record.prefix, engine.Instructor(str(record.instructor)))
    corrected = f"{record.corrects_id}/"
    graded = [each for each in held.items if not each.id.startswith(corrected)]
    graded += [each for each in made["items"] if isinstance(each, engine.ItemGrade)]
    flights = {each.id: each for each in made["flights"] if isinstance(each, engine.Flight)}
    found = proving.proofs(graded, {**held.flights_by_id, **flights}, lesson_plans.outlines_of(record))
    return [each for each in found if each.id.startswith(record.prefix)]


def _locked(student: Student, by: User, at: dt.datetime) -> Student:
    """The student, locked first by everyone who writes the record, so that locks are always taken in one
    order.

    Raises: NotAllowed.
    """
    if not may_write(by, student, at.date()):
        raise NotAllowed("You may not write this student's lessons; the student's instructors may.")
    return access.locked_student(student.pk)


def _write(record: LessonRecord, lesson: str, content: Content, by: User, at: dt.datetime) -> None:
    flight = content.flight
    record.lesson, record.content = lesson, content.plain
    record.content_hash = _hash(record, lesson, content)
    record.instructor, record.updated_at = by, at
    record.off_at = flight.off.astimezone(dt.UTC) if flight and flight.off else None
    record.on_at = flight.on.astimezone(dt.UTC) if flight and flight.on else None
    record.aircraft_registration = (flight.aircraft.registration if flight else None) or ""
    record.warnings = warnings(record, content, by)


def warnings(record: LessonRecord, content: Content, by: User) -> list[dict[str, str]]:
    """Warnings about a lesson record: kind, place and sentence. Nothing is refused."""
    found: list[dict[str, str]] = []
    if content.flight is not None:
        taxi = record.student.school.taxi_allowance_minutes * MINUTE
        signer = signing_authority.cautions(by, record.student, content.flight, record.corrects_id)
        for kind, key, message in (
            *overlaps(record, content.flight, by),
            *_times(record.student, content.flight, taxi),
            *signer,
        ):
            place = f"content.flight.{key}"
            found.append({"kind": kind, "place": place, "message": message})
    return [*found, *lesson_hints.warnings(content.plain, lesson_hints.outline_of(record))]


def hints(record: LessonRecord) -> list[lesson_hints.Hint]:
    """Measured values compared with their standards; for a signed lesson as of the sign-off."""
    signed = getattr(record, "sign_off", None)
    return signed.hints if signed else lesson_hints.hints(record.content, lesson_hints.outline_of(record))


def computed(flight: engine.Flight | None) -> Computed:
    """Night time and route length, calculated."""
    if flight is None:
        return Computed(None, None)
    legs = list(zip(flight.route, flight.route[1:], strict=False))
    known = legs and all(place.known for place in flight.route)
    return Computed(facts.computed_night(flight), sum(distance_nm(a, b) for a, b in legs) if known else None)


def clocked(flight: engine.Flight) -> int | None:
    """The clock time in microseconds: from first movement to rest (14 CFR 1.1), else from takeoff to landing.

    None if neither is known.
    """
    for first, last in ((flight.out, flight.in_), (flight.off, flight.on)):
        if first is not None and last is not None:
            return round((last - first).total_seconds() * 1_000_000)
    return None


def _beyond_the_clock(flight: engine.Flight, taxi: int) -> str | None:
    """A warning if more is logged than the clock allows, with ``taxi`` added to takeoff to landing."""
    clock, total = clocked(flight), flight.times.get("total")
    if clock is None or total is None:
        return None
    said, between = f"{amounts.hours(total)} is logged, and between", amounts.hours(clock, up=True)
    if flight.out is not None and flight.in_ is not None:
        return f"{said} out and in are {between}." if total > -(-clock // _TENTH) * _TENTH else None
    if total <= clock + taxi:
        return None
    allowed = f"{amounts.hours(taxi)} of taxi is allowed for" if taxi else "no taxi is allowed for"
    return f"{said} off and on are {between}; {allowed}. Enter out and in if it was more."


def _times(student: Student, flight: engine.Flight, taxi: int) -> Iterator[tuple[str, str, str]]:
    logged = flight.times
    total = logged.get("total", 0)
    if total > 24 * HOUR:
        yield "long", "times.total", f"{amounts.hours(total)} is more than 24 hours in one flight."
    if beyond := _beyond_the_clock(flight, taxi):
        yield "clock", "times.total", beyond
    night = computed(flight).night
    if night is not None and abs(night - logged.get("night", 0)) > TOLERANCE:
        rule = authorities.rule(auditing.current(), "night-as-computed", flight.date, student)
        yield (
            "night",
            "times.night",
            f"{amounts.hours(logged.get('night', 0))} of night is logged, and {amounts.hours(night)} is"
            f" computed from off, on and the route ({rule.cite.section}).",
        )
    if logged.get("cross_country") and len({place.key for place in flight.route}) < 2:
        yield (
            "cross-country",
            "times.cross_country",
            "Cross-country time is logged, and the route has no landing away from the point of departure.",
        )
