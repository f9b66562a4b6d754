"""``manage.py ledger_guards``: install the ledger's triggers, or print the rights of a plain role."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError, connection, transaction

from training.triggers import installer, ledger


class Command(BaseCommand):
    """Run by the owner of the tables: nobody else can."""

    help = (
        "Installs the triggers that refuse changes of signed rows, as after a restore or a rebuilt table. "
        "With --grants ROLE it changes nothing and prints the PostgreSQL statements that let an application "
        "role read and append only: it owns nothing, so it cannot disable a trigger."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--grants", metavar="ROLE")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["grants"]:
            try:
                lines = ledger.grants(options["grants"])
            except ValueError as fault:
                raise CommandError(str(fault)) from None
            for line in lines:
                self.stdout.write(f"{line};")
            return
        lost = installer.missing(connection, [ledger.TRIGGERS])
        try:
            with transaction.atomic():
                ledger.TRIGGERS.install(connection)
        except DatabaseError as fault:
            raise CommandError(f"This role cannot install the triggers: {fault}") from None
        self.stdout.write(f"Triggers in place. Installed: {', '.join(lost) or 'none, none was missing'}.")
