"""``manage.py restore FILE``: load a backup into an empty database and check it."""

import sys
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from training.services.operations import backup, inspection


class Command(BaseCommand):
    """Exit code 0 if the backup was restored and is complete, else 1."""

    help = (
        "Loads a file of manage.py backup into the empty database of DATABASE_URL; PostgreSQL takes a backup "
        "of SQLite too. Then checks every trigger, the whole ledger with its checkpoints, and each signed "
        "lesson against the ledger."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            backup.read(options["file"])
        except backup.BackupError as fault:
            raise CommandError(str(fault)) from None
        self.stdout.write(f"{options['file']} was restored to {backup.kind()}:")
        found = inspection.look()
        for line in found.figures:
            self.stdout.write(f"  {line}")
        for line in found.cautions:
            self.stdout.write(f"CAUTION {line}")
        for line in found.faults:
            self.stdout.write(f"ERROR {line}")
        if found.faults:
            self.stdout.write(f"NOT WHOLE. Errors: {len(found.faults)}.")
            sys.exit(1)
        self.stdout.write("WHOLE")
