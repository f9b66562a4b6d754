"""``manage.py reset_demo``: reset the invented school, for a demo open to the public."""

import os
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from training.models import School
from training.services.operations import demo


class Command(BaseCommand):
    """Loads the demo school again, if there is one, and nothing else."""

    help = (
        "Resets the invented school to its first day, counted from today. Does nothing if there is no demo "
        "school. The logins get the password in DEMO_PASSWORD."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        if not School.objects.filter(is_demo=True).exists():
            self.stdout.write("No demo school here. Nothing changed.")
            return
        password = os.environ.get("DEMO_PASSWORD")
        if not password:
            raise CommandError(
                "Set DEMO_PASSWORD; with a random password nobody could sign in.", returncode=2
            )
        at = timezone.now()
        try:
            loaded = demo.load(demo.today(at), at=at, password=password)
        except demo.DemoRefused as problem:
            raise CommandError(str(problem), returncode=2) from None
        self.stdout.write(f"{loaded.school.name} was reset, with {len(loaded.students)} students.")
