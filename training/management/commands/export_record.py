"""``manage.py export_record``: a student's record as a record document."""

import datetime as dt
import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from syllabus.engine.record import reading
from training.management.commands.import_record import found_student, found_user
from training.services.errors import NotAllowed
from training.services.records import records


class Command(BaseCommand):
    """Exit codes: 0 done, 2 bad input."""

    help = "Writes a student's record as a record document (training-record/1) to standard output."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("ref", metavar="REF", help="the student's reference")
        parser.add_argument(
            "--known-at",
            metavar="INSTANT",
            help="the record as known at this time, such as 2026-03-02T19:40:00-06:00",
        )
        parser.add_argument(
            "--by", metavar="EMAIL", help="the user who does this (default: the command line)"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        student = found_student(options["ref"])
        known_at = instant(options["known_at"], "--known-at") if options["known_at"] else None
        by = found_user(options["by"]) if options["by"] else None
        try:
            document = records.export_document(
                student, by=by, at=dt.datetime.now(dt.UTC), via="command", known_at=known_at
            )
        except NotAllowed as problem:
            raise CommandError(str(problem), returncode=2) from None
        self.stdout.write(json.dumps(document, ensure_ascii=False, indent=2))


def instant(text: str, option: str) -> dt.datetime:
    """A date and time with its offset, as an option gives it."""
    errors = reading.Errors()
    found = reading.instant(errors, text, option)
    if found is None:
        raise CommandError("; ".join(map(str, errors)), returncode=2)
    return found
