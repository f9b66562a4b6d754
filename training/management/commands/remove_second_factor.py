"""``manage.py remove_second_factor``: for a person who lost every passkey, app and recovery code."""

import datetime as dt
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from training.management.commands.import_record import found_user
from training.services.errors import Conflict
from training.services.people import second_factor


class Command(BaseCommand):
    """Exit codes: 0 done, or shown; 2 bad input, or nothing to remove."""

    help = (
        "Removes every passkey, authenticator app and recovery code of an account and ends its sessions, so "
        "that the password alone signs in. First make sure who is asking: meet, or call a number that you "
        "know. The person's schools keep a record of it, and the person gets an e-mail."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email", metavar="EMAIL", help="the e-mail that the person signs in with")
        parser.add_argument(
            "--reason",
            required=True,
            metavar="TEXT",
            help="why, and how you checked who asks; it is recorded",
        )
        parser.add_argument("--really", action="store_true", help="remove them; without it nothing changes")

    def handle(self, *args: Any, **options: Any) -> None:
        user = found_user(options["email"])
        held = second_factor.of(user)
        if not options["really"]:
            said = ", ".join(f"{number} {kind}" for kind, number in sorted(held.items())) or "nothing"
            self.stdout.write(f"{user.email} has, besides the password: {said}.")
            self.stdout.write("Nothing changed. Add --really to remove it.")
            return
        try:
            done = second_factor.remove(user, options["reason"], by=None, at=dt.datetime.now(dt.UTC))
        except (second_factor.RemovalError, Conflict) as problem:
            raise CommandError(f"{problem}\nNothing changed.", returncode=2) from None
        self.stdout.write(
            f"Removed from {user.email}: {done.passkeys} passkeys, {done.apps} authenticator apps, all "
            f"recovery codes; {done.sessions} sessions and {done.tokens} tokens ended. "
            "The password alone now signs in. The person gets an e-mail about it."
        )
