"""How gunicorn serves: ``gunicorn --config docker/gunicorn.conf.py training.config.wsgi``.

PORT, WEB_WORKERS and WEB_THREADS come from the environment. Where PROMETHEUS_MULTIPROC_DIR names a folder,
the workers leave their figures there, and whichever is asked for /metrics adds all of them up.
"""

import os
import pathlib
from typing import Any

import environ

from training.config.environment import Connections
from training.config.logs import logging_settings

connections = Connections.read(environ.Env())
if connections.fault and os.environ.get("DATABASE_URL", "").startswith("p"):
    raise SystemExit(f"The web server does not start: {connections.fault}")

bind = f"0.0.0.0:{int(os.environ.get('PORT', '8000'))}"
workers = connections.workers
# Threads get requests that are complete; of connections that send them slowly, the oldest makes room.
worker_class = "training.config.patient.Worker"
worker_connections = 500
threads = connections.threads
timeout = 30
graceful_timeout = 20
keepalive = 5
# A worker is replaced now and then, not all at once: what leaks does not add up for ever.
max_requests, max_requests_jitter = 10_000, 1_000
worker_tmp_dir = "/dev/shm" if os.path.isdir("/dev/shm") else None  # noqa: S108
control_socket_disable = True
# The program is loaded once, before the workers are forked: no first request waits for it.
preload_app = True
if os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
    pathlib.Path(os.environ["PROMETHEUS_MULTIPROC_DIR"]).mkdir(parents=True, exist_ok=True)
# The proxy in front is the settings' business (PROXY_SSL_HEADER, NUM_PROXIES).
forwarded_allow_ips = ""
# Every request has its line already, by training.web.shared.requests.
accesslog = None
logconfig_dict: dict[str, Any] = logging_settings(os.environ.get("LOG_FORMAT", "json"), "INFO")
logconfig_dict["loggers"]["gunicorn.error"] = {"handlers": [], "propagate": True}


def on_starting(server: Any) -> None:
    """Figures of a server that ran here before are not this one's."""
    folder = os.environ.get("PROMETHEUS_MULTIPROC_DIR")
    if folder:
        for left in pathlib.Path(folder).glob("*.db"):
            left.unlink()


def when_ready(server: Any) -> None:
    """Before the first worker is forked."""
    from training.config import warm

    warm.up()


def child_exit(server: Any, worker: Any) -> None:
    """A worker that has ended counts no more among the living."""
    if os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
        from prometheus_client import multiprocess

        multiprocess.mark_process_dead(worker.pid)
