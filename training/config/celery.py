"""The entry for workers and the beat: ``celery --app training.config.celery worker``."""

import logging.config
import os
from typing import Any

from celery import Celery
from celery.schedules import crontab
from celery.signals import setup_logging
from django.conf import settings

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "training.config.settings")

app = Celery("training")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
# Once a minute, in UTC; the database says what is due. Nothing is kept in a file: a restarted beat
# sends the next task at the full minute. A task that no worker took expires before the next one.
app.conf.beat_scheduler = "celery.beat:Scheduler"
app.conf.beat_schedule = {
    "sweep": {"task": "training.sweep", "schedule": crontab(), "options": {"expires": 55}},
}
if settings.DEMO_RESET:
    nightly = crontab(hour="9", minute="0")  # in the small hours at the demo school
    app.conf.beat_schedule["reset-demo"] = {"task": "training.reset_demo", "schedule": nightly}


@setup_logging.connect
def as_the_settings_say(**_: Any) -> None:
    """Workers and beat write their log as the web server does: Celery keeps its own hands off it."""
    from django.conf import settings

    logging.config.dictConfig(settings.LOGGING)
