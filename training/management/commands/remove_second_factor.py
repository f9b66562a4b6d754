"""``manage.py remove_second_factor``: for a person who lost every passkey, app and recovery code."""

import datetime as dt
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from training.management.commands.import_record import found_user
from training.services.errors import Conflict
from training.services.people import second_factor


class Command(BaseCommand):
    """Exit codes: 0 done, or shown; 2 bad input, or nothing to take away."""

    help = (
        "Takes every passkey, authenticator app and recovery code from an account and ends its sessions, so "
        "that the password alone opens it. Make sure first that it is the person who asks: meet, or call a "
        "number that you know. It is kept at the person's schools, and the person is told by mail."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email", metavar="EMAIL", help="the address that the person signs in with")
        parser.add_argument(
            "--reason", required=True, metavar="TEXT", help="why, and how you know who asks; it is kept"
        )
        parser.add_argument("--really", action="store_true", help="do it; without it nothing is changed")

    def handle(self, *args: Any, **options: Any) -> None:
        user = found_user(options["email"])
        held = second_factor.of(user)
        if not options["really"]:
            said = ", ".join(f"{number} {kind}" for kind, number in sorted(held.items())) or "nothing"
            self.stdout.write(f"{user.email} has besides the password: {said}.")
            self.stdout.write("Nothing was changed. Say --really to take it away.")
            return
        try:
            done = second_factor.remove(user, options["reason"], by=None, at=dt.datetime.now(dt.UTC))
        except (second_factor.RemovalError, Conflict) as problem:
            raise CommandError(f"{problem}\nNothing was changed.", returncode=2) from None
        self.stdout.write(
            f"Removed from {user.email}: {done.passkeys} passkeys, {done.apps} authenticator apps, all "
            f"recovery codes; {done.sessions} sessions and {done.tokens} tokens ended. "
            "The password alone opens the account now."
        )
        self.stdout.write(
            "The person was told by mail."
            if done.told
            else "THE MAIL WAS NOT SENT: tell the person yourself."
        )
