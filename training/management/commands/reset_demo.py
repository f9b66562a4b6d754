"""``manage.py reset_demo``: the invented school as on its first day, for a demo open to the public."""

from __future__ import annotations

import os
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from training.models import School
from training.services.operations import demo


class Command(BaseCommand):
    """Loads the demo school anew, where there is one; nothing else is touched."""

    help = (
        "Puts the invented school back to its first day, counted from today. Where no demo school is there, "
        "nothing is done. The logins get the password in DEMO_PASSWORD."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        if not School.objects.filter(is_demo=True).exists():
            self.stdout.write("There is no demo school here; nothing was done.")
            return
        password = os.environ.get("DEMO_PASSWORD")
        if not password:
            raise CommandError(
                "DEMO_PASSWORD is not set, and a made-up password would lock everybody out.", returncode=2
            )
        at = timezone.now()
        try:
            loaded = demo.load(demo.today(at), at=at, password=password)
        except demo.DemoRefused as problem:
            raise CommandError(str(problem), returncode=2) from None
        self.stdout.write(
            f"{loaded.school.name} is as on its first day, with {len(loaded.students)} students."
        )
