"""The entry for an ASGI server."""

import os

from django.core.asgi import get_asgi_application

from training.config.celery import app as celery_app

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "training.config.settings")

application = get_asgi_application()

from training.services.records import page_cache  # noqa: E402  (its models need Django to be set up)

# By the files as they are now: later they may be another program's, which a process that runs on is not.
page_cache.made_by()

__all__ = ["application", "celery_app"]  # the Celery app is made here, so that a request can ring a worker
