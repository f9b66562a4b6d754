"""``manage.py hand_over``: a student's whole record in one file that can be checked without this server."""

import datetime as dt
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.exceptions import ImproperlyConfigured
from django.core.management.base import BaseCommand, CommandError

from training.management.commands.import_record import found_student, found_user
from training.services.errors import NotAllowed
from training.services.transfer import handover


class Command(BaseCommand):
    """Exit codes: 0 done, 2 bad input."""

    help = (
        "Writes a student's whole record to one ZIP file: the record document, PDF pages, every signed entry "
        "with its proof, the signed checkpoint, the public keys and the courses. Check it offline: "
        "python -m training.ledger.verify FILE --key ID"
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("ref", metavar="REF", help="the student's reference")
        parser.add_argument("file", metavar="FILE", type=Path, help="a new file")
        parser.add_argument(
            "--by", metavar="EMAIL", help="the user who does this (default: the command line)"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        student = found_student(options["ref"])
        by = found_user(options["by"]) if options["by"] else None
        if options["file"].exists():
            raise CommandError(f"{options['file']} already exists; name another file.", returncode=2)
        try:
            raw = handover.make(student, by=by, at=dt.datetime.now(dt.UTC), via="command")
            options["file"].write_bytes(raw)
        except (NotAllowed, ImproperlyConfigured) as problem:
            raise CommandError(str(problem), returncode=2) from None
        except OSError as problem:
            raise CommandError(
                f"{options['file']}: cannot be written ({problem.strerror}).", returncode=2
            ) from None
        self.stdout.write(f"{options['file']}: {len(raw):,} bytes, the record of {student} ({student.ref}).")
