"""The entry for workers and the beat: ``celery --app training.config.celery worker``."""

import os

from celery import Celery
from celery.schedules import crontab

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "training.config.settings")

app = Celery("training")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
# One tick a minute, in UTC; what is due is decided in the database. Nothing is kept in a file: a beat that is
# started again ticks at the next full minute. A tick that nobody took is void when the next one comes.
app.conf.beat_scheduler = "celery.beat:Scheduler"
app.conf.beat_schedule = {
    "sweep": {"task": "training.sweep", "schedule": crontab(), "options": {"expires": 55}},
}
