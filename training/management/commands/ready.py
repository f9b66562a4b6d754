"""``manage.py ready``: what ``/readyz`` asks, and what is wrong; for processes without a port."""

from __future__ import annotations

import datetime as dt
import sys
from typing import Any

from django.core.management.base import BaseCommand

from training.services.operations import readiness


class Command(BaseCommand):
    """Exit code 0 where this copy can be worked with, 1 where not."""

    help = (
        "Looks whether the database answers, is migrated and guarded, and whether the sweep runs; "
        "says what is not so, and then the exit code is 1."
    )
    requires_system_checks: list[str] = []

    def handle(self, *args: Any, **options: Any) -> None:
        checks = readiness.look(dt.datetime.now(dt.UTC))
        for check in checks:
            self.stdout.write(f"{check.name}: {check.fault or 'ok'}")
        if any(check.fault for check in checks):
            sys.exit(1)
