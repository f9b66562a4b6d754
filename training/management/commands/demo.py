"""``manage.py demo``: an invented school to explore, on this machine alone."""

import datetime as dt
import os
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from syllabus.engine.rules.rulebook import PRACTICAL_TEST
from syllabus.law import rulebook
from training import reports
from training.management import eligibility_table, serving
from training.models import Student
from training.services.operations import demo

#: Whose gaps toward the practical test are printed: every requirement is met but one, by 0.04 NM.
SHOWN = "theo"


def toward() -> str:
    """The milestone whose gaps are printed: the practical test."""
    return rulebook.current().in_role(PRACTICAL_TEST)[0].id


class Command(BaseCommand):
    """Prepares the database, loads the school, prints one student's gaps and the logins, and serves."""

    help = (
        "Loads an invented school, prints one student's gaps and the logins, and serves pages and API on "
        f"{serving.NAME} until Ctrl-C. Run it again to replace the invented school and nothing else."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        serving.add_port(parser)
        parser.add_argument("--no-serve", action="store_true", help="load and print only")
        parser.add_argument(
            "--in-this-database",
            action="store_true",
            help="load into the database of DATABASE_URL all the same",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        port = options["port"]
        if not settings.EMBEDDED and not options["in_this_database"]:
            raise CommandError(
                "DATABASE_URL is set, so this would load invented people with working logins into that "
                "database. Unset it to use a local SQLite file, or add --in-this-database.",
                returncode=2,
            )
        if not options["no_serve"]:
            serving.check_port(port)
        self.stdout.write("Preparing the database …")
        call_command("migrate", verbosity=0, interactive=False)
        at = dt.datetime.now(dt.UTC)
        try:
            loaded = demo.load(demo.today(at), at=at, password=os.environ.get("DEMO_PASSWORD"))
        except demo.DemoRefused as problem:
            raise CommandError(str(problem), returncode=2) from None
        self.stdout.write(self.gaps(loaded, at))
        self.stdout.write(self.people(loaded, serving.address(port)))
        if not options["no_serve"]:
            serving.serve(port, self.stdout)

    def gaps(self, loaded: demo.Loaded, at: dt.datetime) -> str:
        """One student's report as a table."""
        student = Student.objects.get(ref=demo.ref(SHOWN))
        report = reports.eligibility(student, toward(), loaded.school.day(at))
        return f"\n{student.name}\n\n{eligibility_table.render(report, width=100)}\n"

    def people(self, loaded: demo.Loaded, here: str) -> str:
        """The students with their stage, the logins, and links to start with."""
        stages = [f"  {student.name:14} {stage}" for student, stage in loaded.students]
        logins = [f"  {each.email:22} {each.role:14} {each.name}" for each in loaded.logins]
        student = f"{here}/api/v1/students/{demo.ref(SHOWN)}"
        return "\n".join(
            [
                f"{loaded.school.name}: all the people in it are invented.",
                *stages,
                "",
                f"Logins, all with the password {loaded.password}",
                *logins,
                "",
                "Links",
                f"  {here}/                 the home page",
                f"  {here}/api/v1/docs/     the API and its description",
                f"  {student}/eligibility/{toward()}",
                f"  {' ' * len(here)}                  the table above, for Ida, Ada and Theo",
            ]
        )
