"""``manage.py ready``: the checks of ``/readyz``, for processes without a port."""

import datetime as dt
import sys
from typing import Any

from django.core.management.base import BaseCommand

from training.services.operations import readiness


class Command(BaseCommand):
    """Exit code 0 if this copy is ready, else 1."""

    help = (
        "Checks that the database answers, that migrations and triggers are in place, and that the "
        "background jobs run. Exit code 1 if a check fails."
    )
    requires_system_checks: list[str] = []

    def handle(self, *args: Any, **options: Any) -> None:
        checks = readiness.look(dt.datetime.now(dt.UTC))
        for check in checks:
            self.stdout.write(f"{check.name}: {check.fault or 'ok'}")
        if any(check.fault for check in checks):
            sys.exit(1)
