"""``manage.py backup FILE``: the whole database in one new file."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from training.services.operations import backup


class Command(BaseCommand):
    """Exit code 0 once the whole file is on the disk."""

    help = (
        "Writes the whole database to a new file that manage.py restore reads: a PostgreSQL dump in custom "
        "format, or a copy of the SQLite database. The school can go on working meanwhile. The file holds "
        "every record, but not SECRET_KEY and LEDGER_SIGNING_KEY: store those separately."
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
            "it: store them separately."
        )
