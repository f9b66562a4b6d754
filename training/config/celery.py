"""The entry for workers and the beat: ``celery --app training.config.celery worker``."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "training.config.settings")

app = Celery("training")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
