"""``manage.py import_course``: import a course from YAML as the next draft, or publish it at once."""

import re
import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.db import transaction
from django.utils import timezone

from syllabus import models
from syllabus.courses import files, outlines
from syllabus.engine.course.course import CourseError, Outline
from syllabus.engine.errors import Error
from syllabus.engine.rules.rulebook import VERIFIED
from syllabus.engine.time.units import format_time

BAD_DATA = 2
_SCHOOL = re.compile(r"[-a-zA-Z0-9_]{1,60}", re.ASCII)


class Command(BaseCommand):
    help = (
        "Imports a course as the draft of its next version; an earlier draft is replaced. Errors go to "
        "standard error as file:line: message, with exit code 2, and nothing is imported. A file that equals "
        "the newest version changes nothing."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, metavar="FILE", help="the course, as YAML")
        parser.add_argument(
            "--school",
            metavar="REF",
            help="the short name of its school (default: every school may use the course)",
        )
        parser.add_argument(
            "--publish", action="store_true", help="publish the version, which cannot be changed afterwards"
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        path: Path = options["file"]
        school: str | None = options["school"]
        if school is not None and not _SCHOOL.fullmatch(school):
            self.refuse([Error("--school", f"{school!r} is not the short name of a school, such as 'demo'")])
        try:
            stands = files.read_bytes(path.read_bytes(), str(path))
            saved, version = self.keep(stands, school, publish=options["publish"])
        except OSError as problem:
            self.refuse([Error(str(path), f"cannot be read: {problem.strerror}")])
        except CourseError as problem:
            self.refuse(problem.errors)
        self.stdout.write("\n".join(told(stands, version, saved.changed)))

    @staticmethod
    @transaction.atomic
    def keep(
        stands: Outline, school: str | None, *, publish: bool
    ) -> tuple[outlines.Saved, models.CourseVersion]:
        saved = outlines.save(stands, school)
        version = saved.version
        if publish and not version.is_published:
            version = outlines.publish(version, timezone.now())
        return saved, version

    def refuse(self, errors: Iterable[Error]) -> None:
        for error in errors:
            self.stderr.write(str(error), str)
        sys.exit(BAD_DATA)


def told(stands: Outline, version: models.CourseVersion, changed: bool) -> Iterator[str]:
    """What was imported, what it plans, and how well its limits were checked."""
    whose = version.course.school_ref
    owner = f"of {whose}" if whose else "that every school may use"
    state = "published" if version.is_published else "a draft"
    yield f"{version.course.code} version {version.number}, a course {owner}: {state}" + (
        "" if changed else "; no changes"
    )
    counts = (len(stands.stages), "stages"), (len(stands.lessons), "lessons"), (len(stands.items), "items")
    yield "  " + ", ".join(f"{number} {name}" for number, name in counts)
    planned = {"total": "total", "dual": "dual", "solo": "solo"}
    times = [f"{format_time(stands.planned(kind))} {name}" for name, kind in planned.items()]
    yield f"  planned flight time {', '.join(times)}; {format_time(stands.ground_time)} on the ground"
    marks = Counter(tolerance.verified for item in stands.items for tolerance in item.standard)
    if marks:
        shown = ", ".join(f"{marks[mark]} {mark}" for mark in VERIFIED if marks[mark])
        yield f"  limits of its standards: {shown}; check the others against the test standard"
