"""The main part of a student's page, made once and kept until anything that it depends on is another.

A part is kept under a mark over all of that: the state of the record as the kept standings know it, that of
the lesson records where the page lists them, the rules, the day at the school, the language, and the program
itself. So nothing needs to be told that a part is out of date: under another mark it is made anew. What
differs by reader is no part of it, and who may read it is asked before, each time. While ``DEBUG`` is on
nothing is kept: a template then changes under the running program.

The web layer puts its pages into ``PAGES`` at start; the sweep makes them before anybody asks.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import logging
import sys
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib import metadata

from django.conf import settings
from django.db import transaction
from django.db.models import BigIntegerField, Exists, OuterRef, Q, TextField
from django.urls import get_script_prefix
from django.utils import translation
from django.utils.safestring import SafeString, mark_safe

from syllabus.law import rulebook
from training.models import PreparedPage, Stale, Standing, Student
from training.services.reminders import preferences, standings
from training.sql import Place, Statement

log = logging.getLogger(__name__)
#: What the parts are made by, besides the libraries.
PACKAGES = ("syllabus", "training")


@dataclass(frozen=True, slots=True)
class Page:
    """A page about a student: how its main part is made of the student, the day and the variant.

    ``of_lessons`` where it shows lesson records, drafts among them. ``variants`` are made ahead.
    """

    make: Callable[[Student, dt.date, str], SafeString]
    of_lessons: bool = False
    variants: tuple[str, ...] = ("",)


#: The pages by name, as ``training.web.student.page_cache`` declares them.
PAGES: dict[str, Page] = {}
_KEPT = Statement(
    lambda: (
        PreparedPage.objects.filter(
            student_id=Place("student", BigIntegerField()),
            page=Place("page", TextField()),
            variant=Place("variant", TextField()),
        )
        .order_by()
        .values_list("mark", "body")
    )
)


def part(student: Student, page: str, on: dt.date, variant: str = "") -> SafeString:
    """The main part of a page as HTML, in the language in use: the one that is kept, else made and kept.

    ``student`` was read with the school, just now.

    Queries: 1; where it is made, two more and those of the making.
    """
    made = PAGES[page]
    if settings.DEBUG:
        return made.make(student, on, variant)
    named = _named(variant)
    mark = _mark(student, on, of_lessons=made.of_lessons)
    kept: dict[str, bytes] = dict(_KEPT.rows(student=student.pk, page=page, variant=named))  # type: ignore[arg-type]
    body = kept.get(mark)
    if body is not None:
        return _read(body)
    text = made.make(student, on, variant)
    _keep(student, page, named, mark, zlib.compress(text.encode(), 1))
    return text


def parts(students: Sequence[Student], page: str, at: dt.datetime, variant: str = "") -> list[SafeString]:
    """The same part of each of these students, of the day that it is at their schools; for a list of them.

    Queries: 1 for all that are kept, and those of ``part`` for each that is not.
    """
    named = _named(variant)
    rows = PreparedPage.objects.filter(student__in=students, page=page, variant=named).order_by()
    kept = {(student, mark): body for student, mark, body in rows.values_list("student_id", "mark", "body")}
    found = []
    for each in students:
        on = each.school.day(at)
        mark = _mark(each, on, of_lessons=PAGES[page].of_lessons)
        body = None if settings.DEBUG else kept.get((each.pk, mark))
        if body is None:
            found.append(part(each, page, on, variant))
        else:
            found.append(_read(body))
    return found


def _named(variant: str) -> str:
    """A variant as a row names it: with the language in use."""
    return f"{translation.get_language()} {variant}".rstrip()


def _read(body: bytes | memoryview) -> SafeString:
    return mark_safe(zlib.decompress(body).decode())  # noqa: S308  (as a template wrote it)


def _mark(student: Student, on: dt.date, *, of_lessons: bool) -> str:
    """Over everything that a part depends on and that its row does not name."""
    rests_on = (
        *standings.state_of(student),
        student.lessons_version if of_lessons else None,
        rulebook.current().id,
        on,
        get_script_prefix(),
        made_by(),
    )
    return hashlib.sha256("\n".join(map(repr, rests_on)).encode()).hexdigest()


@lru_cache
def made_by() -> str:
    """The program as it runs: its code, templates, rules and languages, the libraries and Python."""
    found = hashlib.sha256(sys.version.encode())
    for path in sorted(each for package in PACKAGES for each in (settings.BASE_DIR / package).rglob("*")):
        if path.is_file() and not {"__pycache__", "static", "migrations"} & set(path.parts):
            found.update(f"{path.relative_to(settings.BASE_DIR)}\n".encode())
            found.update(hashlib.sha256(path.read_bytes()).digest())
    libraries = sorted(f"{each.name} {each.version}" for each in metadata.distributions())
    found.update("\n".join(libraries).encode())
    return found.hexdigest()


def _keep(student: Student, page: str, variant: str, mark: str, body: bytes) -> None:
    """Put a part in the place of what was kept, if the student is still as it was made of.

    An erasure waits for the row that is locked, and then takes the part away as well; after an erasure
    nothing is kept. Where another has the student's row, this does not wait: the next who asks keeps it.
    """
    with transaction.atomic():
        same = Student.objects.select_for_update(no_key=True, skip_locked=True).filter(
            pk=student.pk,
            version=student.version,
            lessons_version=student.lessons_version,
            erased_at__isnull=True,
        )
        if same.order_by().values_list("pk", flat=True).first() is None:
            return
        PreparedPage.objects.bulk_create(
            [
                PreparedPage(
                    school_id=student.school_id,
                    student=student,
                    page=page,
                    variant=variant,
                    mark=mark,
                    body=body,
                )
            ],
            update_conflicts=True,
            unique_fields=["student", "page", "variant"],
            update_fields=["school", "mark", "body"],
        )


# Before anybody asks


def waiting(limit: int) -> list[int]:
    """Students whose standing was worked out and whose pages were not made since, by key.

    Two looks into an index where there are none. Not those in ``Stale``: they are worked out first.
    """
    if settings.DEBUG:
        return []
    other = Standing.objects.filter(Q(prepared__lt=made_by()) | Q(prepared__gt=made_by()))
    stale = Stale.objects.filter(student_id=OuterRef("student_id"))
    found = other.exclude(Exists(stale)).order_by("pk").values_list("student_id", flat=True)
    return list(found[:limit])


def ahead(student_pk: int, at: dt.datetime) -> bool:
    """Make every page of a student for the day that it is, in the student's language.

    A fault is noted in the log and is that page's: it is not tried again before the standing is worked out
    anew. False where there was one.
    """
    student = Student.objects.select_related("school", "user").filter(pk=student_pk).first()
    whole = True
    if student is not None and student.erased_at is None:
        on = student.school.day(at)
        language = preferences.of(student.user).language if student.user else settings.LANGUAGES[0][0]
        with translation.override(language):
            for name, page in PAGES.items():
                for variant in page.variants:
                    try:
                        part(student, name, on, variant)
                    except Exception:
                        log.exception("the page %s of student %s cannot be made ahead", name, student_pk)
                        whole = False
    Standing.objects.filter(student_id=student_pk).update(prepared=made_by())
    return whole
