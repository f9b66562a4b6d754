"""``manage.py import_record``: a record document from a file becomes a student's record."""

import datetime as dt
import sys
import uuid
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from syllabus.engine.errors import DocumentError
from syllabus.engine.record import reading
from training.models import School, Student, User
from training.record import SealedEntry
from training.services.errors import NotAllowed
from training.services.records import record_changes, records


class Command(BaseCommand):
    """Exit codes: 0 done, 2 bad input with every error on standard error and nothing imported.

    Whoever has the command line is believed about who it is; the entries are claims all the same.
    """

    help = (
        "Imports a record document (training-record/1) as a new student, or with --student as the new record "
        "of an existing student."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE", help="the document; - reads standard input")
        parser.add_argument("--school", metavar="SLUG", required=True, help="the school's short name")
        parser.add_argument(
            "--student", metavar="REF", help="whose record to replace (default: a new student)"
        )
        parser.add_argument("--by", metavar="EMAIL", required=True, help="the user who does this")
        parser.add_argument(
            "--reason",
            metavar="TEXT",
            required=True,
            help="why; it goes into the ledger, and to the student",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        school = found_school(options["school"])
        student = found_student(options["student"], school) if options["student"] else None
        by = found_user(options["by"])
        try:
            done = records.import_document(
                reading.loads(text_of(options["file"]), error=DocumentError),
                school=school,
                student=student,
                by=by,
                at=dt.datetime.now(dt.UTC),
                via="command",
                reason=options["reason"],
            )
        except record_changes.ReasonError as problem:
            raise CommandError(f"Nothing imported. {problem.errors[0]}", returncode=2) from None
        except DocumentError as problem:
            count = len(problem.errors)
            file = "standard input" if options["file"] == "-" else options["file"]
            self.stderr.write(f"{file}: Nothing imported; {count} error{'s' if count > 1 else ''}:")
            for error in problem.errors:
                self.stderr.write(f"  {error}")
            sys.exit(2)
        except SealedEntry as problem:
            raise CommandError(f"Nothing imported. {problem}", returncode=2) from None
        except NotAllowed as problem:
            raise CommandError(str(problem), returncode=2) from None
        self.stdout.write(described(done))


def described(done: records.Imported) -> str:
    """The result in a few words."""
    head = f"{done.student} ({done.student.ref}): "
    if done.change is None:
        return head + ("new student with an empty record" if done.created else "no changes")
    total = {
        what: sum(counts[what] for counts in done.change.counts.values())
        for what in ("added", "changed", "removed", "kept")
    }
    words = ", ".join(f"{number} {what}" for what, number in total.items() if number)
    return head + ("new student; " if done.created else "") + f"entries: {words or 'none'}"


def text_of(file: str) -> bytes:
    """The bytes of a file, or of standard input for ``-``."""
    if file == "-":
        return sys.stdin.buffer.read()
    try:
        return Path(file).read_bytes()
    except OSError as problem:
        raise CommandError(f"{file}: cannot be read ({problem.strerror}).", returncode=2) from None


def found_school(slug: str) -> School:
    try:
        return School.objects.get(slug=slug)
    except School.DoesNotExist:
        known = (
            ", ".join(School.objects.values_list("slug", flat=True)) or "none yet; 'manage.py demo' makes one"
        )
        raise CommandError(f"No school {slug!r}. Known schools: {known}.", returncode=2) from None


def found_student(ref: str, school: School | None = None) -> Student:
    """The student of a reference, of one school where it is given."""
    try:
        students = Student.objects.filter(ref=uuid.UUID(ref))
    except ValueError:
        raise CommandError(
            f"{ref!r} is not a student reference; one looks like {uuid.UUID(int=1)}.", returncode=2
        ) from None
    student = students.select_related("school").first()
    if student is None or (school is not None and student.school_id != school.pk):
        where = f" at {school.slug}" if school else ""
        raise CommandError(f"No student{where} has the reference {ref}.", returncode=2)
    return student


def found_user(email: str) -> User:
    try:
        return User.objects.get_by_natural_key(email)
    except User.DoesNotExist:
        raise CommandError(f"No user with the e-mail {email}.", returncode=2) from None
