"""``manage.py backup FILE``: the whole database in one new file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from training.services.operations import backup


class Command(BaseCommand):
    """Exit code 0 once the file is whole and on the disk."""

    help = (
        "Writes the whole database to a new file, which manage.py restore takes back: a PostgreSQL dump in "
        "its custom format, or a copy of the SQLite database. Others may go on working meanwhile. It holds "
        "every record; it does not hold SECRET_KEY and LEDGER_SIGNING_KEY, which are kept apart from it."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            size = backup.write(options["file"])
        except backup.BackupError as fault:
            raise CommandError(str(fault)) from None
        self.stdout.write(
            f"Wrote {options['file']}: a backup of {backup.kind()}, {size:,} bytes. It holds every student's "
            "record: encrypt it before it leaves this machine. SECRET_KEY and LEDGER_SIGNING_KEY are not in "
            "it: keep them apart from it."
        )
