"""Pages and API on this machine alone, with the background jobs in the same process without a broker."""

import socket
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import CommandError, OutputWrapper
from django.db import connections

from training.management import clock

#: What the server binds, and the name that people open: a passkey needs a name, not a number.
HOST, NAME = "127.0.0.1", "localhost"


def add_port(parser: ArgumentParser) -> None:
    parser.add_argument("--port", type=int, default=8000, help="the port (default: 8000)")


def address(port: int) -> str:
    """The address that people open on this machine."""
    return f"http://{NAME}:{port}"


def check_port(port: int) -> None:
    """Refuse a port that cannot be used, before anything else is done."""
    if not 1 <= port <= 65_535:
        raise CommandError(f"--port {port}: ports run from 1 to 65535.", returncode=2)
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError as problem:
            raise CommandError(
                f"Cannot use port {port} of {HOST} ({problem.strerror}). "
                f"Choose another, such as --port {port % 65_535 + 1}.",
                returncode=2,
            ) from None


def serve(port: int, out: OutputWrapper) -> None:
    """Serve until Ctrl-C or SIGTERM, which ends requests in progress too. Does not return.

    ``out`` says where e-mails go without a mail server. Without a broker, a thread here runs the background
    jobs.
    """
    if settings.MAIL_REFUSED:
        out.write(f"\nNo e-mail is sent: {settings.MAIL_REFUSED}")
    elif settings.MAIL_BACKEND.endswith("filebased.EmailBackend"):
        out.write(f"\nE-mails are not sent; they are written to {getattr(settings, 'EMAIL_FILE_PATH', '')}.")
    if settings.PUBLIC_ADDRESS == settings.OWN_ADDRESS:  # nobody named another one
        settings.PUBLIC_ADDRESS = address(port)
    if settings.REDIS_URL:
        out.write("\nREDIS_URL is set: worker and beat send the reminders.")
    out.write(f"\nServing on {address(port)}/ until Ctrl-C.")
    out.flush()
    # Takes a moment, and only who serves needs it.
    from gunicorn.app.base import BaseApplication  # type: ignore[import-untyped]

    class Server(BaseApplication):
        def load_config(self) -> None:
            chosen = {
                "bind": f"{HOST}:{port}",
                "workers": 1,
                "threads": 8,
                "worker_class": "training.config.patient.Worker",
                "worker_connections": 500,
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
