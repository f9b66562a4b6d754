"""``manage.py send_reminders``: the sweep, once, for whoever has no worker; from cron, for example."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from training.services.reminders import standings
from training.services.sweep import sweep


class Command(BaseCommand):
    """Works out what changed, makes the reminders that are due, and sends what is to be sent."""

    help = (
        "Makes the reminders that are due and sends what is to be sent, once. A worker with its beat does "
        "the same every minute, as does the demo's own server. It may run beside them, and at any time again."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--seconds", type=float, default=600, help="stop after so long; the rest waits (default: 600)"
        )
        parser.add_argument(
            "--retry", action="store_true", help="also try the records again that could not be worked out"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if options["retry"]:
            standings.unpark_all()
        done = sweep(seconds=options["seconds"], progress=self.stdout.write)
        self.stdout.write(str(done))
        for each in standings.parked():
            self.stdout.write(f"not worked out: student {each.student_id} of {each.school}: {each.fault}")
        if done.faults:
            raise CommandError("The sweep failed in part; the log says why.")
