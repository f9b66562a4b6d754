"""``manage.py setup``: a school and its first administrator, from options or from questions."""

import datetime as dt
import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils.text import slugify

from syllabus.engine.errors import InputError
from training.models import School
from training.services.errors import Conflict
from training.services.operations import first_school

#: Each option, the question asked where it is missing, and its help.
ASKED = {
    "school": ("Name of the school", "its name, such as 'Lakeside Flight School'"),
    "time_zone": ("Its time zone, such as America/Chicago", "its time zone; decides which day it is there"),
    "administrator": ("Name of its first administrator", "the first administrator's name"),
    "email": ("E-mail address of the administrator", "the e-mail address to sign in with"),
}


class Command(BaseCommand):
    """Exit codes: 0 done; 2 bad input, or the school exists. Nothing is stored then."""

    help = (
        "Adds a school and its first administrator, and prints a link with which the administrator sets a "
        "password. Asks for each option that is missing."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        for option, (_, says) in ASKED.items():
            parser.add_argument(f"--{option.replace('_', '-')}", metavar="TEXT", help=says)
        parser.add_argument(
            "--short-name", metavar="TEXT", help="its name in addresses; default: made from the name"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        given = {option: options[option] or self.answer(option) for option in ASKED}
        slug = options["short_name"] or slugify(given["school"])[:60]
        school = School(name=given["school"], slug=slug, time_zone=given["time_zone"])
        try:
            user = first_school.add(
                school, name=given["administrator"], email=given["email"], at=dt.datetime.now(dt.UTC)
            )
        except (InputError, Conflict) as problem:
            raise CommandError(f"{problem}\nNothing stored.", returncode=2) from None
        self.stdout.write(f"Added {school.name} (short name {school.slug}).")
        if user.has_usable_password():
            self.stdout.write(f"{user.email} is its administrator, with the password that the account has.")
        else:
            self.stdout.write(f"{user.name} is its administrator. Set the password here, once, in 3 days:")
            self.stdout.write(f"  {first_school.first_password(user)}")
        self.stdout.write(
            "Next: sign in, add a passkey or an authenticator app on the page Security, then add people, "
            "courses and aircraft. The help page Set up and run the school says how."
        )

    def answer(self, option: str) -> str:
        """What somebody types. A program that gives no answers gets an error that names the option."""
        if not sys.stdin.isatty():
            raise CommandError(f"--{option.replace('_', '-')} is missing.\nNothing stored.", returncode=2)
        return input(f"{ASKED[option][0]}: ").strip()
