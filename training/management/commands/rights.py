"""``manage.py rights ROLE``: give the role of web server and worker what they need of PostgreSQL."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError

from training.services.operations import rights


class Command(BaseCommand):
    """Run by the owner of the tables, after ``migrate``."""

    help = (
        "Gives a PostgreSQL role the rights that web server and worker need, and takes every other from it: "
        "it appends to the ledger and to the log of accesses, deletes no record, and owns nothing. Run it as "
        "the owner after each migrate; --print shows the statements instead."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("role", metavar="ROLE")
        parser.add_argument("--print", action="store_true", help="print the statements, change nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            if options["print"]:
                for each in rights.statements(options["role"]):
                    self.stdout.write(f"{each};")
                return
            given = rights.give(options["role"])
        except rights.RightsError as fault:
            raise CommandError(str(fault)) from None
        except DatabaseError as fault:
            raise CommandError(f"The rights cannot be given by this role: {str(fault).strip()}") from None
        self.stdout.write(f"{options['role']} has its rights ({given} statements).")
