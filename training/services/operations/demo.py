"""Loads the demo school: invented people at different stages, relative to the day of loading."""

import datetime as dt
import secrets
import uuid
import zoneinfo
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from django.apps import apps
from django.contrib.auth.hashers import make_password
from django.db import connection, transaction

from syllabus.courses import files, outlines
from syllabus.engine.course.course import Outline
from syllabus.engine.record import document as documents
from syllabus.engine.record import record as engine
from syllabus.models import CourseVersion
from training import models, record
from training.services import access
from training.services.fleet import aircraft
from training.services.lessons import lesson_records, sign_offs
from training.services.operations import demo_fixture, demo_lessons
from training.services.operations.demo_lessons import Lesson
from training.services.records import attesting, record_changes
from training.services.signing import seals

#: Mail to this domain goes nowhere, by RFC 2606.
DOMAIN = "flying.example"
#: References are derived from it and the student's key, so that URLs survive a reload.
_NAMESPACE = uuid.UUID("6f3f3a52-7d0e-5c1b-9a66-2f4f0c6f5d11")
COURSES = demo_fixture.FILE.parent / "courses"
VIA = "demo"
#: The document that the demo school's office saw.
_SAW = "the invented logbook of the demo"
_EASY_TO_TYPE = "abcdefghjkmnpqrstuvwxyz23456789"


class DemoRefused(Exception):
    """The demo school would replace something that is not a demo; the message says what and where."""


@dataclass(frozen=True, slots=True)
class Login:
    """A user who can sign in."""

    name: str
    email: str
    role: str


@dataclass(frozen=True, slots=True)
class Loaded:
    """The school, its students with their stages in words, the users and their password."""

    school: models.School
    students: tuple[tuple[models.Student, str], ...]
    logins: tuple[Login, ...]
    password: str


def ref(key: str) -> uuid.UUID:
    """The reference of a student of the demo school, the same at every load."""
    return uuid.uuid5(_NAMESPACE, key)


def today(at: dt.datetime) -> dt.date:
    """Today at the demo school."""
    return at.astimezone(zoneinfo.ZoneInfo(demo_fixture.read()["school"]["time_zone"])).date()


def made_up_password() -> str:
    """Twelve unambiguous letters and digits: about 59 bits."""
    drawn = [secrets.choice(_EASY_TO_TYPE) for _ in range(12)]
    return "-".join("".join(drawn[start : start + 4]) for start in (0, 4, 8))


@transaction.atomic
def load(on: dt.date, *, at: dt.datetime | None = None, password: str | None = None) -> Loaded:
    """Replace the demo school, if any; nothing else changes.

    ``on`` is the day from which the file counts; ``at`` the instant of loading, by default noon of that day
    at the school. Without a password a random one is made.

    Raises: DemoRefused if a real school or user has a name that the demo needs.
    """
    fixture = demo_fixture.read()
    if at is None:
        at = dt.datetime.combine(on, dt.time(12), zoneinfo.ZoneInfo(fixture["school"]["time_zone"]))
    password = password or made_up_password()
    hashed = make_password(password)  # once, because hashing is slow on purpose
    school = _cleared_school(fixture["school"])
    logins: list[Login] = []

    def user(key: str, name: str, role: str, **held: Any) -> models.User:
        made = _user(key, name, school, hashed)
        models.Role.objects.create(school=school, user=made, role=role, **held)
        logins.append(Login(name, made.email, role))
        return made

    people = {}
    for key, each in fixture["people"].items():
        held = dict(each)
        if "recent_experience_until" in held:
            held["recent_experience_until"] = demo_fixture.day(held["recent_experience_until"], on)
        people[key] = user(key, **held)
    _fleet(fixture, school, people["ada"], on, at)
    taught = {each["course"] for each in fixture["students"] if "course" in each}
    versions = {code: course(code, school, at) for code in sorted(taught)}
    students, lessons = [], []
    for each in fixture["students"]:
        account = user(each["key"], each["name"], "student") if each.get("login", True) else None
        found = documents.parse(demo_fixture.document(fixture, each, on, at))
        student = _student(school, each, found, account)
        version = versions.get(each.get("course", ""))
        begun = {"school": school, "student": student, "starts": demo_fixture.day(each["enrolled"], on)}
        models.Enrolment.objects.create(**begun, course_version=version)
        models.Assignment.objects.create(**begun, instructor=people[each["taught_by"]])
        _enter(student, found, people, at)
        students.append((student, each["stage"]))
        if version is not None:
            given = demo_lessons.of(fixture, each, outlines.published(version), on, at)
            lessons += [(lesson, student, people[lesson.by]) for lesson in given]
    for lesson, student, by in sorted(lessons, key=lambda one: one[0].at):
        _give(lesson, student, by)
    return Loaded(school, tuple(students), tuple(logins), password)


def _student(
    school: models.School, said: Mapping[str, Any], found: engine.Record, account: models.User | None
) -> models.Student:
    return models.Student.objects.create(
        school=school,
        ref=ref(said["key"]),
        user=account,
        name=found.student.name or said["name"],
        birth_date=found.student.birth_date,
        training_model=said["training_model"],
    )


def _fleet(
    fixture: Mapping[str, Any], school: models.School, by: models.User, on: dt.date, at: dt.datetime
) -> None:
    """The school's aircraft with their inspections and documents."""
    fleet = {}
    for key, each in fixture["aircraft"].items():
        said = {{"class": "klass"}.get(name, name): value for name, value in each.items()}
        fleet[key] = models.Aircraft.objects.create(school=school, **said)
    for each in fixture["checks"]:
        done = demo_fixture.day(each["done"], on)
        expires = demo_fixture.day(each["expires"], on) if "expires" in each else None
        aircraft.record(fleet[each["aircraft"]].pk, each["kind"], done, expires, by=by, at=at)


def _enter(
    student: models.Student, found: engine.Record, people: Mapping[str, models.User], at: dt.datetime
) -> None:
    """Put the student's invented past on record, each entry on the day in the file, attested by the office.

    An instructor of the demo attests the entries in their own name.
    """
    by, known = people["ada"], {str(each): each for each in people.values()}
    signers = {
        (part, each.id): known[each.instructor.name]
        for part in ("endorsements", "tests")
        for each in getattr(found, part)
        if each.instructor is not None and each.instructor.name in known
    }

    def seal(done: record.Replaced, when: dt.datetime) -> int:
        added: dict[models.User, list[record.Moved]] = {by: []}
        for each in done.added:
            added.setdefault(signers.get((each.part, each.id), by), []).append(each)
        for whose, entries in added.items():
            if whose != by:
                attesting.seal(
                    student, record_changes.ADDED, entries, saw=_SAW, by=whose, at=when, confirmed=None
                )
        body = {
            **done.as_json(),
            "added": [each.as_json() for each in added[by]],
            **record_changes.named(by),
            "saw": _SAW,
        }
        return seals.seal(student, record_changes.ADDED, body, at=when)

    record.store(
        student,
        found,
        by=by,
        at=at,
        reason=_SAW,
        vouches=lambda part, entry: engine.ATTESTED,
        seal=seal,
        invented=True,
    )
    access.log(by, student, access.WRITE, "record", via=VIA, at=at)


def course(code: str, school: models.School, at: dt.datetime) -> CourseVersion:
    """The built-in course of that name, published as the demo school's own.

    The same at every load while the file does not change; other schools' courses are not touched.
    """
    stands = _outline(code)
    newest = outlines.newest(code, school.course_ref)
    if newest is not None and newest.content_hash == files.content_hash(stands):
        return newest
    return outlines.publish(outlines.save(stands, school.course_ref).version, at)


@lru_cache(maxsize=4)
def _outline(code: str) -> Outline:
    file = COURSES / f"{code}.yaml"
    return files.read_bytes(file.read_bytes(), file.name)


def _give(lesson: Lesson, student: models.Student, by: models.User) -> None:
    """Create a lesson, and sign, acknowledge or correct it as in the file."""
    day = lesson.at.date()
    if not models.Assignment.objects.filter(
        models.Assignment.in_force(day), student=student, instructor=by
    ).exists():
        # A stage check makes the student another instructor's for the day.
        models.Assignment.objects.create(
            school_id=student.school_id, student=student, instructor=by, starts=day, ends=day
        )
    said: dict[str, Any] = {"id": lesson.id, "content": lesson.content, "by": by, "at": lesson.at, "via": VIA}
    if lesson.corrects is None:
        made = lesson_records.create(student, lesson=lesson.lesson, **said)
    else:
        wrong = models.LessonRecord.objects.get(pk=lesson.corrects)
        made = sign_offs.correct(wrong, reason=lesson.reason, **said)
    if lesson.signed:
        sign_offs.sign_off(made.pk, by=by, content_hash=made.content_hash, at=lesson.at, via=VIA)
    if lesson.acknowledged_at is not None and student.user is not None:
        sign_offs.acknowledge(made.pk, by=student.user, at=lesson.acknowledged_at, via=VIA)


def _cleared_school(data: dict[str, Any]) -> models.School:
    """The demo school, empty."""
    school = models.School.objects.filter(slug=data["slug"]).first()
    if school is None:
        return models.School.objects.create(**data, is_demo=True)
    if not school.is_demo:
        raise DemoRefused(
            f"The school {school.slug!r} is not a demo school. Give it another short name, or load the demo"
            " into another database."
        )
    # Every row of the school, in any order: foreign keys are checked at the end of the transaction, and only
    # a
    # demo school's signed rows may be deleted.
    with connection.cursor() as cursor:
        for model in apps.get_app_config("training").get_models():
            if any(field.name == "school" for field in model._meta.concrete_fields):
                cursor.execute(f"DELETE FROM {model._meta.db_table} WHERE school_id = %s", [school.pk])  # noqa: S608
    again = {name: value for name, value in data.items() if name != "slug"}
    for name, value in again.items():
        setattr(school, name, value)
    school.save(update_fields=list(again))
    return school


def _user(key: str, name: str, school: models.School, hashed: str) -> models.User:
    email = f"{key}@{DOMAIN}"
    user = models.User.objects.filter(email=email).first()
    if user is None:
        return models.User.objects.create(email=email, password=hashed, name=name)
    if user.is_staff or user.is_superuser or user.roles.exclude(school=school).exists():
        raise DemoRefused(
            f"The user {email} has more than a role in the demo. Give it another address, or load the demo "
            "into another database."
        )
    user.name, user.is_active, user.password = name, True, hashed
    user.save()
    return user
