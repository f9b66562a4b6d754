"""The entry for a WSGI server: ``gunicorn training.config.wsgi``."""

import os

from django.core.wsgi import get_wsgi_application

from training.config.celery import app as celery_app

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "training.config.settings")

application = get_wsgi_application()

__all__ = ["application", "celery_app"]  # the Celery app is made here, so that a request can ring a worker
