"""``manage.py serve``: a school's pages and API on one machine, such as an instructor's laptop."""

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from training.management import serving
from training.models import School
from training.services.operations import readiness


class Command(BaseCommand):
    """Migrates the embedded database, says what to do first, and serves."""

    help = (
        f"Serves pages and API on {serving.NAME} until Ctrl-C. Once a minute, it makes and sends "
        "the reminders that are due; with REDIS_URL, worker and beat do that."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        serving.add_port(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        port = options["port"]
        serving.check_port(port)
        if settings.EMBEDDED:
            call_command("migrate", verbosity=0, interactive=False)
        elif pending := readiness.pending_migrations():
            raise CommandError(
                f"{len(pending)} unapplied migrations, the first {pending[0]}. Run: manage.py migrate",
                returncode=2,
            )
        if not School.objects.exists():
            self.stdout.write(
                "No school yet. Stop with Ctrl-C and run manage.py setup, which asks for the school and "
                "its first administrator."
            )
        serving.serve(port, self.stdout)
