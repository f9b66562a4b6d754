"""``manage.py restore FILE``: a backup into an empty database, and whether all of it holds together."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from training.services.operations import backup, inspection


class Command(BaseCommand):
    """Exit code 0 where the backup is back and whole, 1 where it is not, or a fault was found in it."""

    help = (
        "Takes a file of manage.py backup back into the database that DATABASE_URL names, which must be "
        "empty; then checks every trigger, the whole ledger with its checkpoints, and each signed lesson "
        "against it."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            backup.read(options["file"])
        except backup.BackupError as fault:
            raise CommandError(str(fault)) from None
        self.stdout.write(f"{options['file']} is back in {backup.kind()}. What it holds:")
        found = inspection.look()
        for line in found.figures:
            self.stdout.write(f"  {line}")
        for line in found.cautions:
            self.stdout.write(f"CAUTION {line}")
        for line in found.faults:
            self.stdout.write(f"FAULT {line}")
        if found.faults:
            self.stdout.write(f"NOT WHOLE: {len(found.faults)} fault(s).")
            sys.exit(1)
        self.stdout.write("WHOLE")
