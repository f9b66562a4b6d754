"""``manage.py ledger_guards``: put the ledger's triggers back, or print the rights of a plain role."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError, connection, transaction

from training.triggers import installer, ledger


class Command(BaseCommand):
    """Run by the owner of the tables: nobody else can."""

    help = (
        "Puts the triggers in place that keep sealed rows from being changed (after a restore or a rebuilt "
        "table). With --grants ROLE it changes nothing and prints the PostgreSQL statements that let an "
        "application role read and append, and no more: it owns nothing, so it cannot switch a trigger off."
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
            raise CommandError(f"The triggers cannot be put in place by this role: {fault}") from None
        self.stdout.write(f"In place. Put back: {', '.join(lost) or 'none, all were there'}.")
