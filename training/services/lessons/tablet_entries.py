"""Logs what an instructor decided on a tablet's entry that the school refused."""

import contextlib
import datetime as dt
import logging
import uuid
from collections.abc import Mapping

from training.models import AccessLog, User
from training.services import access

log = logging.getLogger(__name__)


def log_decision(by: User, said: Mapping[str, str], at: dt.datetime) -> None:
    """Log that an entry was corrected, or discarded and why; sent again, it is logged once.

    The student may be erased or another instructor's by now, and an entry of an old release may name none;
    then the program's log alone has it.
    """
    how, reason, student = said.get("how", ""), said.get("reason", ""), None
    with contextlib.suppress(ValueError):
        ref = uuid.UUID(said.get("student", ""))
        student = access.visible_students(by, access.WRITE, on=at.date()).filter(ref=ref).first()
    if student is not None:
        what = f"tablet entry {how} ({said.get('id', '')[:8]}): {reason}"[:100]
        if AccessLog.objects.filter(student=student, user=by, what=what).exists():
            return
        access.log(by, student, access.WRITE, what, via="web", at=at)
    signed = f"hash {said.get('content_hash', '')}, signed {said.get('signed_at', 'never')}"
    log.info("tablet entry %r %r by user %s (%s): %r", said.get("record", ""), how, by.pk, signed, reason)
