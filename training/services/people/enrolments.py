"""Enrollments in versions of courses, and moves to a newer version."""

import datetime as dt
import uuid
from dataclasses import dataclass

from django.db import transaction
from django.db.models import Prefetch, QuerySet

from syllabus.courses import outlines
from syllabus.engine.course import changes as course_changes
from syllabus.engine.course.changes import Carried, Change
from syllabus.engine.errors import InputError
from syllabus.models import CourseVersion
from syllabus.models.courses import PUBLISHED
from training.models import CourseMove, Enrolment, Student, User
from training.record import lessons
from training.services import access
from training.services.courses.courses import Address
from training.services.errors import Conflict
from training.services.signing import seals


class EnrolmentError(InputError):
    """The enrollment is not possible."""

    what = "the enrolment"


@dataclass(frozen=True, slots=True)
class Preview:
    """The result of a move: the differences between the versions, and which grades carry over."""

    old: CourseVersion
    new: CourseVersion
    changes: tuple[Change, ...]
    carried: tuple[Carried, ...]


def of(student: Student) -> QuerySet[Enrolment]:
    """The enrollments of a student with their moves, newest first. Two queries."""
    return (
        Enrolment.objects.filter(student=student)
        .select_related("course_version__course")
        .prefetch_related(
            Prefetch(
                "moves",
                CourseMove.objects.select_related("from_version__course", "to_version__course", "by"),
            )
        )
        .order_by("-starts", "-pk")
    )


def version_of(student: Student, address: str, number: int | None) -> CourseVersion:
    """A published version that the student's school may use; without a number the newest.

    ``address`` is a course's code, with ``@`` and the short name for a school's own course.

    Raises: EnrolmentError.
    """
    asked, school = Address.read(address), student.school.course_ref
    newest = outlines.newest(asked.code, asked.school) if asked.school in (None, school) else None
    if newest is None:
        known = sorted({str(Address.of(each.course)) for each in outlines.open_to(school)})
        there = f"; use one of {', '.join(known)}" if known else "; publish one first"
        raise EnrolmentError.at("course", f"{address!r} is not a published course of this school{there}")
    if number is None or number == newest.number:
        return newest
    found = outlines.open_to(school).filter(course=newest.course_id, number=number).first()
    if found is None:
        raise EnrolmentError.at(
            "version", f"course {address} has no published version {number}; the newest is {newest.number}"
        )
    return found


def enrol(
    student: Student,
    *,
    ref: uuid.UUID,
    course: str,
    version: int | None,
    starts: dt.date,
    by: User,
    at: dt.datetime,
    via: str,
) -> Enrolment:
    """Enroll a student in a version of a course. A current enrollment without a course gets it.

    Sending the same again returns the existing one.

    Raises: EnrolmentError; NotAllowed; Conflict if the student is in that course already.
    """
    with transaction.atomic():
        whose = _locked(student, by, at)
        access.log(by, whose, access.WRITE, f"enrolment {ref}", via=via, at=at)
        pinned = version_of(whose, course, version)
        there = Enrolment.objects.filter(ref=ref).select_related("course_version").first()
        if there is not None:
            held = there.course_version
            if there.student_id == whose.pk and held is not None and held.course_id == pinned.course_id:
                return there
            raise Conflict("Another enrollment has this id. Send your own with a new UUID.")
        running = Enrolment.objects.filter(Enrolment.in_force(starts), student=whose)
        if running.filter(course_version__course=pinned.course_id).exists():
            raise Conflict(
                f"The student is enrolled in {pinned.course.code} on {starts} already; move"
                " that enrollment to"
                " another version instead."
            )
        bare = running.filter(course_version__isnull=True).order_by("-starts", "-pk").first()
        if bare is not None:
            bare.ref, bare.course_version = ref, pinned
            bare.save(update_fields=["ref", "course_version"])
            return bare
        return Enrolment.objects.create(
            school_id=whose.school_id, student=whose, ref=ref, course_version=pinned, starts=starts
        )


def newer_versions(version: CourseVersion) -> list[CourseVersion]:
    """The published versions of the same course after this one, the oldest first. One query."""
    rows = CourseVersion.objects.filter(course=version.course_id, state=PUBLISHED, number__gt=version.number)
    return list(rows.order_by("number"))


def preview(enrolment: Enrolment, number: int, on: dt.date) -> Preview:
    """The result of a move to a version of the same course on a day. Raises: EnrolmentError."""
    old = enrolment.course_version
    if old is None:
        raise EnrolmentError.at("enrolment", "has no course; enroll the student in one")
    new = (
        CourseVersion.objects.select_related("course")
        .filter(course=old.course_id, number=number, state=PUBLISHED)
        .first()
    )
    if new is None:
        raise EnrolmentError.at("version", f"course {old.course.code} has no published version {number}")
    if new.number <= old.number:
        raise EnrolmentError.at(
            "version", f"{number} is not newer than version {old.number}, in which the student is"
        )
    before, after = outlines.published(old), outlines.published(new)
    given = lessons.given(enrolment.student, old.course_id, on)
    graded = {each.item: each.grade for each in given.grades if each.item in before.by_code}
    return Preview(
        old,
        new,
        course_changes.compare(before, after),
        course_changes.carry_over(before, after, graded),
    )


def move(enrolment: Enrolment, number: int, *, by: User, at: dt.datetime, via: str) -> CourseMove:
    """Move an enrollment to a newer version, and sign what carried over. Repeated, it returns the same move.

    Raises: EnrolmentError; NotAllowed.
    """
    with transaction.atomic():
        student = _locked(enrolment.student, by, at)
        held = (
            Enrolment.objects.select_for_update(of=("self",), no_key=True)
            .select_related("student__school", "course_version__course")
            .get(pk=enrolment.pk)
        )
        access.log(by, student, access.WRITE, f"enrolment {held.ref} move", via=via, at=at)
        last = CourseMove.objects.filter(enrolment=held).order_by("-at", "-pk").first()
        now = (held.course_version_id, number)
        if last is not None and (last.to_version_id, last.to_version.number) == now:
            return last
        found = preview(held, number, student.school.day(at))
        keys = ("item", "grade", "carries", "why", "note")
        carried = [{key: getattr(each, key) for key in keys} for each in found.carried]
        body = {
            "enrolment": str(held.ref),
            "course": found.new.course.code,
            "from": {"version": found.old.number, "content_hash": found.old.content_hash},
            "to": {"version": found.new.number, "content_hash": found.new.content_hash},
            "carried": carried,
            "user": by.pk,
        }
        made = CourseMove.objects.create(
            school_id=student.school_id,
            student=student,
            enrolment=held,
            from_version=found.old,
            to_version=found.new,
            by=by,
            at=at,
            carried=carried,
            ledger_tree=seals.tree_of(student.school_id),
            ledger_index=seals.seal(student, "enrolment.moved", body, at=at),
        )
        held.course_version = found.new
        held.save(update_fields=["course_version"])
    return made


def end(enrolment: Enrolment, *, on: dt.date, by: User, at: dt.datetime, via: str) -> Enrolment:
    """Set the last day of an enrollment. Raises: EnrolmentError; NotAllowed."""
    with transaction.atomic():
        student = _locked(enrolment.student, by, at)
        held = Enrolment.objects.select_for_update(of=("self",), no_key=True).get(pk=enrolment.pk)
        access.log(by, student, access.WRITE, f"enrolment {held.ref} end", via=via, at=at)
        if on < held.starts:
            raise EnrolmentError.at("ends", f"{on} is before the first day, {held.starts}")
        held.ends = on
        held.save(update_fields=["ends"])
    return held


def _locked(student: Student, by: User, at: dt.datetime) -> Student:
    """The student, locked. Raises: NotAllowed if the user may not write the record."""
    access.require(by, "enroll", student, on=at.date())
    return access.locked_student(student.pk)
