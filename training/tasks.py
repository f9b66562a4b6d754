"""Background tasks. The rows say what is due, so a task that is lost or runs twice does no harm."""

import logging
from typing import Any

from celery import shared_task
from celery.signals import worker_ready
from django.core.management import call_command

from training.services import sweep as sweeping

log = logging.getLogger(__name__)


# A second between tries: the default of three minutes would outlast the broker's visibility timeout.
@shared_task(name="training.sweep", bind=True, max_retries=2, default_retry_delay=1)
def sweep(self: Any) -> None:
    """Work out, make and send what is due."""
    log.info("swept: %s", sweeping.sweep())


@shared_task(name="training.reset_demo")
def reset_demo() -> None:
    """Put the demo school back to its first day, where there is one and ``DEMO_RESET`` asked for it."""
    call_command("reset_demo")


@worker_ready.connect
def at_once(**_: Any) -> None:
    """A worker that has just started does what is due without waiting for the beat."""
    try:
        sweep.apply_async(expires=55)
    except Exception:  # whatever the broker's client raises: the beat sends the next within a minute
        log.warning("no first sweep: the broker does not answer")
