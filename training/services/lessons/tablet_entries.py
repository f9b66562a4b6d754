"""Logs what an instructor decided on a tablet's entry that the school refused."""

import contextlib
import datetime as dt
import logging
import uuid
from collections.abc import Mapping

from training.models import AccessLog, Student, User
from training.services import access

log = logging.getLogger(__name__)


def log_decision(by: User, said: Mapping[str, str], at: dt.datetime) -> None:
    """Log that an entry was corrected, or discarded and why; sent again, it is logged once.

    The student may be another instructor's by now: the school still learns what became of the entry. Of a
    student who is gone, and of an entry of an old release that names none, the program's log alone has it.
    """
    how, reason, student = said.get("how", ""), said.get("reason", ""), None
    with contextlib.suppress(ValueError):
        ref = uuid.UUID(said.get("student", ""))
        student = Student.objects.filter(ref=ref, school__in=access.schools(by, access.INSTRUCT)).first()
    if student is not None:
        what = f"tablet entry {how} ({said.get('id', '')[:8]}): {reason}"[:100]
        if AccessLog.objects.filter(student=student, user=by, what=what).exists():
            return
        access.log(by, student, access.WRITE, what, via="web", at=at)
    signed = f"hash {said.get('content_hash', '')}, signed {said.get('signed_at', 'never')}"
    log.info("tablet entry %r %r by user %s (%s): %r", said.get("record", ""), how, by.pk, signed, reason)
