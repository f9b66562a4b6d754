"""``manage.py take_over``: import a record that another school handed over."""

import datetime as dt
import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from training.management.commands.import_record import described, found_school, found_user, text_of
from training.services.errors import NotAllowed
from training.services.records import record_changes, records
from training.services.transfer import handover


class Command(BaseCommand):
    """Exit codes: 0 done, 2 bad input with every error on standard error and nothing imported."""

    help = (
        "Imports a file that another school made with manage.py hand_over: as a new student, or as an update "
        "of one that was imported before. Nothing is imported if anything in the file was changed, or if the "
        "key that signed it is not trusted."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE", help="the ZIP file; - reads standard input")
        parser.add_argument("--school", metavar="SLUG", required=True, help="the school's short name")
        parser.add_argument(
            "--trust",
            metavar="KEYID",
            action="append",
            default=[],
            help="the id of a key that you compared with what the other school publishes; may be repeated",
        )
        parser.add_argument("--by", metavar="EMAIL", required=True, help="the administrator who does this")
        parser.add_argument(
            "--reason",
            metavar="TEXT",
            required=True,
            help="why; it goes into the ledger, and to the student",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        school = found_school(options["school"])
        by = found_user(options["by"])
        try:
            done = handover.take(
                text_of(options["file"]),
                school=school,
                trust=options["trust"],
                by=by,
                at=dt.datetime.now(dt.UTC),
                via=handover.COMMAND_LINE,
                reason=options["reason"],
            )
        except record_changes.ReasonError as problem:
            raise CommandError(
                f"Nothing imported. {problem.errors[0]} (--reason TEXT)", returncode=2
            ) from None
        except handover.HandOverError as problem:
            count = len(problem.errors)
            self.stderr.write(f"Nothing imported; {count} error{'s' if count > 1 else ''}:")
            for error in problem.errors:
                self.stderr.write(f"  {error}")
            sys.exit(2)
        except NotAllowed as problem:
            raise CommandError(str(problem), returncode=2) from None
        self.stdout.write(described(records.Imported(done.student, done.change, done.created)))
        if done.hand_over is not None:
            sealed = done.hand_over.entries.count()
            self.stdout.write(
                f"From {done.hand_over.origin or 'another school'}: {sealed} signed entries of "
                f"{done.hand_over.origin_tree}, saved with their origin, signed with {done.hand_over.kid}."
            )
