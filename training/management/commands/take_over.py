"""``manage.py take_over``: a record that another school handed over becomes a student's record here."""

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
    """Exit codes: 0 done, 2 bad input with every fault on standard error and nothing written."""

    help = (
        "Reads a file that another school handed over (manage.py hand_over there) and makes it a new "
        "student's record here, or brings one that was taken over before up to date. Nothing is written "
        "where anything in it was changed, or where the key that signed it is not trusted."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE", help="the hand-over (ZIP); - reads standard input")
        parser.add_argument("--school", metavar="SLUG", required=True, help="the school's short name")
        parser.add_argument(
            "--trust",
            metavar="KEYID",
            action="append",
            default=[],
            help="a key of the other school whose id you compared with what it publishes; may be given again",
        )
        parser.add_argument("--by", metavar="EMAIL", required=True, help="the administrator who does this")
        parser.add_argument(
            "--reason", metavar="TEXT", required=True, help="why; it is sealed, and told to the student"
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
                f"nothing was written; {problem.faults[0]} (--reason TEXT)", returncode=2
            ) from None
        except handover.HandOverError as problem:
            count = len(problem.faults)
            self.stderr.write(f"nothing was written; {count} fault{'s' if count > 1 else ''}:")
            for fault in problem.faults:
                self.stderr.write(f"  {fault}")
            sys.exit(2)
        except NotAllowed as problem:
            raise CommandError(str(problem), returncode=2) from None
        self.stdout.write(described(records.Imported(done.student, done.change, done.created)))
        if done.hand_over is not None:
            sealed = done.hand_over.entries.count()
            self.stdout.write(
                f"From {done.hand_over.origin or 'another school'}: {sealed} sealed entries of "
                f"{done.hand_over.origin_tree}, kept with their origin; signed with {done.hand_over.kid}."
            )
