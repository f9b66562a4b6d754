"""The courses of a school: who may see them, and how administrators write and publish drafts.

A course's address is its code, for a school's own course ``code@school``. Neither a code nor a short name
contains ``@``, so a school's course and a built-in one of the same code stay apart.
"""

import datetime as dt
import pathlib
from collections.abc import Callable
from dataclasses import dataclass

from django.conf import settings
from django.db import transaction
from django.db.models import F, Q, QuerySet

from syllabus.courses import outlines
from syllabus.engine.course.course import CourseError, Outline
from syllabus.models import Course, CourseVersion
from syllabus.models.courses import DRAFT, PUBLISHED
from training.models import CoursePublication, Role, School, User
from training.services.errors import Changed, NotAllowed, NotAsRead, NotFound

#: Bytes of a course file: ten times the largest built-in course.
MOST_BYTES = 512 * 1024


def shipped() -> dict[str, pathlib.Path]:
    """The built-in course files by code, to start a school's own from."""
    folder = settings.BASE_DIR / "fixtures" / "courses"
    return {each.stem: each for each in sorted(folder.glob("*.yaml"))}


@dataclass(frozen=True, slots=True)
class Address:
    """A course's code and school; ``school`` is None for a built-in course."""

    code: str
    school: str | None

    @classmethod
    def read(cls, text: str) -> "Address":
        code, at, school = text.partition("@")
        return cls(code, school if at else None)

    @classmethod
    def of(cls, course: Course) -> "Address":
        return cls(course.code, course.school_ref)

    def __str__(self) -> str:
        return f"{self.code}@{self.school}" if self.school is not None else self.code


@dataclass(frozen=True, slots=True)
class Seen:
    """The courses that a user may see: built-in ones and those of ``schools``, drafts of ``administers``."""

    schools: frozenset[str]
    administers: frozenset[str]

    def versions(self) -> QuerySet[CourseVersion]:
        """Every version that the user may read; none for a user without a school."""
        if not self.schools:
            return CourseVersion.objects.none()
        published = Q(state=PUBLISHED) & (
            Q(course__school_ref__isnull=True) | Q(course__school_ref__in=self.schools)
        )
        drafts = Q(state=DRAFT, course__school_ref__in=self.administers)
        return with_publisher(CourseVersion.objects.filter(published | drafts))


def seen(user: User) -> Seen:
    """The schools a user belongs to, and those the user administers. Two queries."""
    roles = list(Role.objects.filter(user=user).values_list("school__slug", "role"))
    learns = School.objects.filter(students__user=user).values_list("slug", flat=True)
    return Seen(
        frozenset({slug for slug, _ in roles} | set(learns)),
        frozenset(slug for slug, kind in roles if kind == Role.Kind.ADMINISTRATOR),
    )


def listed(user: User) -> list[tuple[Address, list[CourseVersion]]]:
    """The courses open to a user, each with its versions, the oldest first. Three queries."""
    found: dict[int, tuple[Address, list[CourseVersion]]] = {}
    products_first = F("course__school_ref").asc(nulls_first=True)
    rows = seen(user).versions().order_by("course__code", products_first, "course_id", "number")
    for version in rows:
        found.setdefault(version.course_id, (Address.of(version.course), []))[1].append(version)
    return list(found.values())


def version(user: User, address: Address, number: int | None = None) -> CourseVersion:
    """A version the user may read; without ``number`` the newest. Raises: NotFound."""
    rows = seen(user).versions().filter(course__code=address.code, course__school_ref=address.school)
    if number is not None:
        rows = rows.filter(number=number)
    found = rows.order_by("-number").first()
    if found is None:
        raise _no_such(number)
    return found


def of_administrator(school: School, address: Address) -> list[CourseVersion]:
    """Every version of a course that a school's administrator may read, the oldest first.

    One query. The caller has checked that the user administers that school.
    """
    if address.school not in (None, school.course_ref):
        return []
    rows = with_publisher(
        CourseVersion.objects.filter(course__code=address.code, course__school_ref=address.school)
    )
    return list((rows if address.school else rows.filter(state=PUBLISHED)).order_by("number"))


def outline(found: CourseVersion) -> Outline:
    """The outline; a published one never changes and is parsed once."""
    return outlines.published(found) if found.is_published else outlines.outline(found)


def _no_such(number: int | None) -> NotFound:
    return NotFound("course of that code" if number is None else "version of that course")


def may_write(user: User, address: Address, number: int | None = None) -> None:
    """Raises: NotFound if the user belongs to no such school; NotAllowed if they may only read there."""
    known = seen(user)
    if not known.schools or (address.school is not None and address.school not in known.schools):
        raise _no_such(number)
    if address.school is None:
        raise NotAllowed(
            f"{address} is the built-in course and cannot be changed. Write the school's own course at"
            f" {address}@{min(known.schools)}."
        )
    if address.school not in known.administers:
        raise NotAllowed(f"Only administrators of {address.school} may write its courses.")


def put(
    user: User, address: Address, stands: Outline, *, fits: Callable[[CourseVersion | None], bool]
) -> outlines.Saved:
    """Save a course as the draft of its next version; it replaces the present draft.

    ``fits`` says, under the lock, whether the change starts from the newest version (None: there is none
    yet). It is not called if the newest version has this content already.

    Raises: NotFound; NotAllowed; Changed; CourseError if the code is of another course.
    """
    may_write(user, address)
    if stands.code != address.code:
        raise CourseError.at("course", f"expected the code {address.code!r}, got {stands.code!r}")

    def allow(newest: CourseVersion | None) -> None:
        if not fits(newest):
            raise Changed(
                f"{address} changed after you read it. Read it again, then send the change with its ETag."
                if newest is not None
                else f"There is no {address} yet; send it without If-Match."
            )

    return outlines.save(stands, address.school, allow=allow)


@transaction.atomic
def publish(
    user: User, address: Address, number: int, *, content_hash: str, at: dt.datetime
) -> CourseVersion:
    """Publish a draft, which freezes it. If it is published already, it is returned.

    Raises: NotFound; NotAllowed; NotAsRead if ``content_hash`` is not that of its content.
    """
    may_write(user, address, number)
    # The course is locked, as for a change: a draft cannot replace one that is being published.
    course = (
        Course.objects.select_for_update(no_key=True)
        .filter(code=address.code, school_ref=address.school)
        .first()
    )
    versions = CourseVersion.objects.select_related("course").filter(course=course, number=number)
    found = versions.first() if course is not None else None
    if found is None:
        raise _no_such(number)
    if found.content_hash != content_hash:
        raise NotAsRead(
            f"Version {number} of {address} changed after you read it. Read it again, then publish it."
        )
    if found.is_published:
        return found
    made = outlines.publish(found, at)
    school = School.objects.get(slug=address.school)
    CoursePublication.objects.create(school=school, version=made, by=user, at=at)
    return made


def publisher(found: CourseVersion) -> str | None:
    """The name of the person who published a version; None for a draft or a built-in course.

    No query after ``with_publisher``.
    """
    made: CoursePublication | None = getattr(found, "publication", None)
    return str(made.by) if made is not None else None


def with_publisher(rows: QuerySet[CourseVersion]) -> QuerySet[CourseVersion]:
    """Versions, each with the person who published it."""
    return rows.select_related("course", "publication__by")
