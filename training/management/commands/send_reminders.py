"""``manage.py send_reminders``: run the background jobs once, such as from cron."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from training.models import Delivery
from training.services.reminders import failures, standings
from training.services.sweep import sweep


class Command(BaseCommand):
    """Recomputes what changed, makes the reminders that are due, and sends them."""

    help = (
        "Makes and sends the reminders that are due, once. The worker and beat do the same every minute, "
        "as does the demo server. It is safe to run beside them, and to run again."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--seconds",
            type=float,
            default=600,
            help="stop after this long; the rest waits (default: 600)",
        )
        parser.add_argument(
            "--retry", action="store_true", help="retry the records and e-mails that failed before"
        )
        parser.add_argument(
            "--after-a-break",
            action="store_true",
            help="this server's clock is right, although the last run was long ago",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if options["retry"]:
            standings.unpark_all()
            failures.retry(Delivery.objects.all(), timezone.now())
        done = sweep(
            seconds=options["seconds"], progress=self.stdout.write, after_a_break=options["after_a_break"]
        )
        self.stdout.write(str(done))
        for each in standings.parked():
            self.stdout.write(f"failed: student {each.student_id} of {each.school}: {each.fault}")
        if done.unreachable:
            raise CommandError(f"No e-mail was sent; all wait. {done.unreachable}")
        if done.faults:
            raise CommandError("Some jobs failed; see the log.")
