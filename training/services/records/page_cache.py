"""The main part of a student's page, rendered once and cached until anything that it depends on changes.

A part is cached under a key of the student, page, language and variant, together with a hash over everything
that it depends on: the state of the record, that of the lesson records where the page lists them, the rules,
the day at the school, and the program itself. So nothing has to invalidate it: under another hash it is
rendered again. What differs by reader is no part of it, and who may read it is checked before, each time.
While ``DEBUG`` is on nothing is cached: a template then changes under the running program.

The cache is Django's, in the record's own database. So a part that a transaction wrote goes with it when it
is rolled back, and an erasure deletes the student's parts in its own transaction.

The web layer puts its pages into ``PAGES`` at start; the sweep renders them before anybody asks.
"""

import datetime as dt
import hashlib
import logging
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib import metadata

from django.conf import settings
from django.core.cache import caches
from django.db import connection, transaction
from django.db.models import Exists, OuterRef, Q
from django.urls import get_script_prefix
from django.utils import translation
from django.utils.connection import ConnectionProxy
from django.utils.safestring import SafeString, mark_safe

from syllabus.law import rulebook
from training.models import Stale, Standing, Student
from training.services.reminders import preferences, standings

log = logging.getLogger(__name__)
#: Django's cache of the parts, and its table.
CACHE = ConnectionProxy(caches, "pages")
TABLE = settings.PAGE_CACHE_TABLE
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


def part(student: Student, page: str, on: dt.date, variant: str = "") -> SafeString:
    """The main part of a page as HTML, in the active language: the cached one, else rendered and cached.

    ``student`` was read with the school, just now.

    Queries: 1; where it is rendered, those of the rendering and of ``_cache`` besides.
    """
    return parts([(student, on)], page, variant)[0]


def parts(asked: Sequence[tuple[Student, dt.date]], page: str, variant: str = "") -> list[SafeString]:
    """The same part of each of these students, of the day that it is at the school; see ``part``.

    Queries: 1 for all that are cached, and those of ``part`` for each that is not.
    """
    made = PAGES[page]
    if settings.DEBUG:
        return [made.make(student, on, variant) for student, on in asked]
    keys = [f"{_prefix(student)}{page}:{translation.get_language()}:{variant}" for student, _ in asked]
    cached, found = CACHE.get_many(keys), []
    for (student, on), key in zip(asked, keys, strict=True):
        state = _state(student, on, of_lessons=made.of_lessons)
        of, body = cached.get(key, ("", ""))
        if of == state:
            found.append(mark_safe(body))  # noqa: S308  (as a template wrote it)
            continue
        found.append(made.make(student, on, variant))
        _cache(student, on, made, key, (state, found[-1]))
    return found


def _prefix(student: Student) -> str:
    """What the keys of a student's parts begin with."""
    return f"{student.pk}:"


def _state(student: Student, on: dt.date, *, of_lessons: bool) -> str:
    """A hash over everything that a part depends on and that its key does not name."""
    depends_on = (
        *standings.state_of(student),
        student.lessons_version if of_lessons else None,
        rulebook.current().id,
        on,
        get_script_prefix(),
        made_by(),
    )
    return hashlib.sha256("\n".join(map(repr, depends_on)).encode()).hexdigest()


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


def _cache(student: Student, on: dt.date, made: Page, key: str, value: tuple[str, SafeString]) -> None:
    """Cache a part, if the student is still as when it was rendered.

    An erasure waits for the row that is locked, and then deletes the part as well; after an erasure nothing
    is cached. Where another transaction has the student's row, this does not wait: the next request caches.
    """
    with transaction.atomic():
        locked = Student.objects.select_for_update(of=("self",), no_key=True, skip_locked=True)
        now = locked.select_related("school").filter(pk=student.pk, erased_at=None).first()
        if now is not None and _state(now, on, of_lessons=made.of_lessons) == value[0]:
            CACHE.set(key, value)


def forget(student: Student) -> None:
    """Delete every part of a student, of any language and any release, in the caller's transaction.

    Effects: with the student's row locked, none is written until the transaction ends.
    """
    with connection.cursor() as cursor:
        beginning = CACHE.make_key(_prefix(student))
        cursor.execute(f"DELETE FROM {TABLE} WHERE cache_key LIKE %s", [f"{beginning}%"])  # noqa: S608


# Before anybody asks


def waiting(limit: int) -> list[int]:
    """Students with a newer standing than their pages, by primary key.

    Two index look-ups if there are none. Leaves out those in ``Stale``, which are calculated first.
    """
    if settings.DEBUG:
        return []
    other = Standing.objects.filter(Q(rendered_by__lt=made_by()) | Q(rendered_by__gt=made_by()))
    stale = Stale.objects.filter(student_id=OuterRef("student_id"))
    found = other.exclude(Exists(stale)).order_by("pk").values_list("student_id", flat=True)
    return list(found[:limit])


def ahead(student_pk: int, at: dt.datetime) -> bool:
    """Render every page of a student for today, in the student's language.

    An error is logged and skips that page until the standing is computed again. False if there was one.
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
    Standing.objects.filter(student_id=student_pk).update(rendered_by=made_by())
    return whole
