"""``manage.py test_mail``: send one e-mail now, and say what the mail server answered."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from training.services.reminders import mail_server


class Command(BaseCommand):
    """Exit codes: 0 the mail server accepted it; 1 it did not, and why."""

    help = (
        "Sends a test e-mail to an address, and says whether the mail server accepted it, or what failed. "
        f"Takes {mail_server.TEST_SECONDS} seconds at most."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email", metavar="EMAIL", help="where the test e-mail goes")

    def handle(self, *args: Any, **options: Any) -> None:
        done = mail_server.try_out(options["email"])
        if not done.accepted:
            raise CommandError(done.words)
        self.stdout.write(done.words)
