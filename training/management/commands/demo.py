"""``manage.py demo``: an invented school to look at, on this machine alone."""

from __future__ import annotations

import datetime as dt
import os
import socket
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connections

from training import reports
from training.management import clock, eligibility_table
from training.models import Student
from training.services import demo

HOST = "127.0.0.1"
#: Whose gaps are printed, and toward what: every requirement is met but one, by 0.04 NM.
SHOWN, TOWARD = "theo", "faa.private-practical-test"


class Command(BaseCommand):
    """Prepares the database, loads the school, prints one student's gaps and the logins, and serves."""

    help = (
        "Loads an invented school, prints one student's gaps and the logins, and serves pages and API on "
        f"{HOST} until Ctrl-C. Loading again replaces the invented school and nothing else."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="where to serve (default: 8000)")
        parser.add_argument("--no-serve", action="store_true", help="load and print only")
        parser.add_argument(
            "--in-this-database",
            action="store_true",
            help="load into the database that DATABASE_URL names, instead of refusing to",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        port = options["port"]
        if not settings.EMBEDDED and not options["in_this_database"]:
            raise CommandError(
                "DATABASE_URL is set, so this would load invented people with working logins into that "
                "database. Unset it for an SQLite file of this machine's own, or add --in-this-database.",
                returncode=2,
            )
        if not options["no_serve"]:
            check_port(port)
        self.stdout.write("Preparing the database …")
        call_command("migrate", verbosity=0, interactive=False)
        at = dt.datetime.now(dt.UTC)
        try:
            loaded = demo.load(demo.today(at), at=at, password=os.environ.get("DEMO_PASSWORD"))
        except demo.DemoRefused as problem:
            raise CommandError(str(problem), returncode=2) from None
        self.stdout.write(self.gaps(loaded, at))
        self.stdout.write(self.people(loaded, f"http://{HOST}:{port}"))
        if not options["no_serve"]:
            if settings.EMAIL_BACKEND.endswith("console.EmailBackend"):
                folder = settings.DATA_DIR / "mail"
                kept = {
                    "EMAIL_BACKEND": "django.core.mail.backends.filebased.EmailBackend",
                    "EMAIL_FILE_PATH": folder,
                }
                for name, value in kept.items():
                    setattr(settings, name, value)
                self.stdout.write(f"\nE-mails are not sent but written to {folder}.")
            self.stdout.write(f"\nServing on http://{HOST}:{port}/ until Ctrl-C.")
            self.stdout.flush()
            serve(port)

    def gaps(self, loaded: demo.Loaded, at: dt.datetime) -> str:
        """One student's report as a table."""
        student = Student.objects.get(ref=demo.ref(SHOWN))
        report = reports.eligibility(student, TOWARD, loaded.school.day(at))
        return f"\n{student.name}\n\n{eligibility_table.render(report, width=100)}\n"

    def people(self, loaded: demo.Loaded, here: str) -> str:
        """Who stands where, who can sign in, and what to look at."""
        stages = [f"  {student.name:14} {stage}" for student, stage in loaded.students]
        logins = [f"  {each.email:22} {each.role:14} {each.name}" for each in loaded.logins]
        student = f"{here}/api/v1/students/{demo.ref(SHOWN)}"
        return "\n".join(
            [
                f"{loaded.school.name}: everybody in it is invented.",
                *stages,
                "",
                f"Logins, all with the password {loaded.password}",
                *logins,
                "",
                "Addresses",
                f"  {here}/                 the first page",
                f"  {here}/api/v1/docs/     the API and its description",
                f"  {student}/eligibility/{TOWARD}",
                f"  {' ' * len(here)}                  the table above, for Ida, Ada and Theo",
            ]
        )


def check_port(port: int) -> None:
    """Refuse a port that cannot be served on, while nothing has been done yet."""
    if not 1 <= port <= 65_535:
        raise CommandError(f"--port {port}: ports run from 1 to 65535.", returncode=2)
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError as problem:
            raise CommandError(
                f"Port {port} of {HOST} cannot be used ({problem.strerror}). "
                f"Name another one, as with --port {port % 65_535 + 1}.",
                returncode=2,
            ) from None


def serve(port: int) -> None:
    """Serve until Ctrl-C or a signal to end, which ends requests in progress too. Does not come back."""
    # Takes a moment, and only who serves needs it.
    from gunicorn.app.base import BaseApplication  # type: ignore[import-untyped]

    class Server(BaseApplication):
        def load_config(self) -> None:
            chosen = {
                "bind": f"{HOST}:{port}",
                "workers": 1,
                "threads": 8,
                "worker_class": "gthread",
                "loglevel": "warning",
                "graceful_timeout": 3,
                "control_socket_disable": True,
                "post_worker_init": lambda worker: clock.start(),
            }
            for name, value in chosen.items():
                self.cfg.set(name, value)

        def load(self) -> Any:
            from django.core.servers.basehttp import get_internal_wsgi_application

            return get_internal_wsgi_application()

    connections.close_all()  # the server works in a process of its own
    Server().run()
