"""The sweep without worker, beat and broker: a thread of the one process that serves, once a minute."""

import logging
import threading
import time

from django.db import close_old_connections, connections

from training.services.sweep import sweep

log = logging.getLogger(__name__)
EVERY = 60.0


def start(every: float = EVERY) -> threading.Thread:
    """Sweep at once and then at every full minute, for as long as this process lives."""
    thread = threading.Thread(target=_run, args=(every,), name="clock", daemon=True)
    thread.start()
    return thread


def _run(every: float) -> None:
    while True:
        tick()
        time.sleep(every - time.time() % every)


def tick() -> None:
    """One sweep; whatever goes wrong is logged, and the next minute it is tried again."""
    close_old_connections()
    try:
        done = sweep()
        log.debug("swept: %s", done)
    except Exception:
        log.exception("the sweep failed")
    finally:
        connections.close_all()
