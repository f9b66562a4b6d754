"""``manage.py erase_student``: plan or carry out the erasure of a student's record."""

import datetime as dt
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from training.management.commands.import_record import found_student, found_user
from training.services.errors import NotAllowed
from training.services.records import erasure


class Command(BaseCommand):
    """Exit codes: 0 done or shown, 2 bad input, or it may not be erased."""

    help = (
        "Shows what erasing a student's record would delete, how long the law requires the "
        "record to be retained, and any holds. With --really the record is erased. The proofs"
        " in the ledger stay."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("ref", metavar="REF", help="the student's reference")
        parser.add_argument(
            "--reason", required=True, metavar="TEXT", help="why; it goes into the ledger: no names"
        )
        parser.add_argument("--really", action="store_true", help="erase it; without this, nothing changes")
        parser.add_argument(
            "--by", metavar="EMAIL", help="the administrator who does this (default: the command line)"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        student = found_student(options["ref"])
        by = found_user(options["by"]) if options["by"] else None
        at = dt.datetime.now(dt.UTC)
        try:
            if options["really"]:
                plan = erasure.erase(student, options["reason"], by=by, at=at, via="command")
            else:
                plan = erasure.plan(student, student.school.day(at))
        except erasure.NotYet as problem:
            raise CommandError(
                "\n".join(["Nothing was erased.", *problem.plan.reasons]), returncode=2
            ) from None
        except (NotAllowed, erasure.ErasureError) as problem:
            raise CommandError(str(problem), returncode=2) from None
        done = "Erased" if options["really"] else "Would be erased"
        for name, number in plan.rows.items():
            self.stdout.write(f"{done}: {number} {name}")
        self.stdout.write(f"{done}: the contents of {plan.bodies} ledger entries; their proofs stay.")
        self.stdout.write(
            f"{'Closed' if options['really'] else 'Would be closed'}, with name and e-mail removed:"
            f" {len(plan.accounts)} accounts that have no other use."
        )
        for name, number in plan.named.items():
            self.stdout.write(f"The name still appears in {number} {name}: another person's, or check it.")
        for each in plan.kept:
            years = each.rule.params["years"]
            self.stdout.write(
                f"{each.rule.cite.section}: {years} year{'' if years == 1 else 's'}"
                f" from {each.day}, until {each.until}."
            )
        if not options["really"]:
            for reason in plan.reasons:
                self.stdout.write(f"AGAINST: {reason}")
            self.stdout.write(
                "Nothing changed. "
                + ("Add --really to erase it." if plan.may else f"It may be erased from {plan.may_from}.")
            )
        self.stdout.write(erasure.STAYS)
