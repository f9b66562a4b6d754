"""The entry for an ASGI server."""

import os

from django.core.asgi import get_asgi_application

from training.config.celery import app as celery_app

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "training.config.settings")

application = get_asgi_application()

__all__ = ["application", "celery_app"]  # the Celery app is made here, so that a request can ring a worker
