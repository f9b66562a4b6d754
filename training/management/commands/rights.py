"""``manage.py rights ROLE``: the PostgreSQL rights of the web server and worker."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError

from training.services.operations import rights


class Command(BaseCommand):
    """Run by the owner of the tables, after ``migrate``."""

    help = (
        "Gives a PostgreSQL role the rights that web server and worker need, and revokes all others: it can "
        "append to the ledger and to the access log, cannot delete records, and owns nothing. Run it as the "
        "owner of the tables after each migrate. --print shows the statements instead."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("role", metavar="ROLE")
        parser.add_argument("--print", action="store_true", help="print the statements and change nothing")

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
            raise CommandError(f"This role cannot grant the rights: {str(fault).strip()}") from None
        self.stdout.write(f"{options['role']} has its rights now ({given} statements).")
