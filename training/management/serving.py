"""Pages and API on this machine alone, with the sweep in the same process where there is no broker."""

from __future__ import annotations

import socket
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import CommandError, OutputWrapper
from django.db import connections

from training.management import clock

HOST = "127.0.0.1"


def add_port(parser: ArgumentParser) -> None:
    parser.add_argument("--port", type=int, default=8000, help="where to serve (default: 8000)")


def check_port(port: int) -> None:
    """Refuse a port that cannot be served on, while nothing has been done yet."""
    if not 1 <= port <= 65_535:
        raise CommandError(f"--port {port}: ports run from 1 to 65535.", returncode=2)
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError as problem:
            raise CommandError(
                f"Port {port} of {HOST} cannot be used ({problem.strerror}). "
                f"Name another one, as with --port {port % 65_535 + 1}.",
                returncode=2,
            ) from None


def serve(port: int, out: OutputWrapper) -> None:
    """Serve until Ctrl-C or a signal to end, which ends requests in progress too. Does not come back.

    Mail for which no server is set is written to a folder, which ``out`` is told. Where a broker is set, its
    worker and beat do the sweeping, else a thread here does.
    """
    if settings.EMAIL_BACKEND.endswith("console.EmailBackend"):
        folder = settings.DATA_DIR / "mail"
        kept = {
            "EMAIL_BACKEND": "django.core.mail.backends.filebased.EmailBackend",
            "EMAIL_FILE_PATH": folder,
        }
        for name, value in kept.items():
            setattr(settings, name, value)
        out.write(f"\nE-mails are not sent but written to {folder}.")
    if settings.REDIS_URL:
        out.write("\nReminders are the work of worker and beat, for REDIS_URL is set.")
    out.write(f"\nServing on http://{HOST}:{port}/ until Ctrl-C.")
    out.flush()
    # Takes a moment, and only who serves needs it.
    from gunicorn.app.base import BaseApplication  # type: ignore[import-untyped]

    class Server(BaseApplication):
        def load_config(self) -> None:
            chosen = {
                "bind": f"{HOST}:{port}",
                "workers": 1,
                "threads": 8,
                "worker_class": "gthread",
                "loglevel": "warning",
                "graceful_timeout": 3,
                "control_socket_disable": True,
                "post_worker_init": lambda worker: None if settings.REDIS_URL else clock.start(),
            }
            for name, value in chosen.items():
                self.cfg.set(name, value)

        def load(self) -> Any:
            from django.core.servers.basehttp import get_internal_wsgi_application

            return get_internal_wsgi_application()

    connections.close_all()  # the server works in a process of its own
    Server().run()
