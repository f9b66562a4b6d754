"""The workers' own program, in which working out one record (its key in ``POISON``) ends the process.

With ``POISON`` the name of a file every sweep ends it, and leaves a line there first.
"""

from __future__ import annotations

import datetime as dt
import functools
import os
import signal
from unittest import mock

from celery.signals import worker_process_init

from training.config.celery import app


@worker_process_init.connect
def poison(**_: object) -> None:
    from training.services import sweep
    from training.services.reminders import standings

    key = os.environ["POISON"]
    if not key.isdecimal():
        mock.patch.object(sweep, "sweep", functools.partial(_end_noting_it, key)).start()
        return
    work_out = standings.work_out

    def ends_at_one(student_pk: int, at: dt.datetime) -> bool:
        if student_pk == int(key):
            os.kill(os.getpid(), signal.SIGKILL)
        return work_out(student_pk, at)

    standings.work_out = ends_at_one


def _end_noting_it(file: str) -> None:
    with open(file, "a", encoding="ascii") as noted:
        noted.write("begun\n")
    os.kill(os.getpid(), signal.SIGKILL)


__all__ = ["app"]
