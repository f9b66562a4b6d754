"""Whether this process's clock is good enough to say what is due.

One sweep with a clock two months ahead calls what is to come over, and tells people the rest too early. So
the clock must agree with the database's, and with when the last sweep was. SQLite has no clock of its own.
"""

import datetime as dt

from django.conf import settings

from training import database
from training.models import Heartbeat
from training.services.operations import heartbeats


def differs(at: dt.datetime) -> str:
    """By how much this process's clock is off at an instant; empty where it agrees with the database's."""
    off = at - database.now()
    if abs(off) <= settings.CLOCK_DRIFT:
        return ""
    whole = dt.timedelta(seconds=round(abs(off).total_seconds()))
    return (
        f"this process's clock is {whole} {'ahead of' if off > dt.timedelta() else 'behind'} the database's"
    )


def doubt(at: dt.datetime, *, after_a_break: bool = False) -> str:
    """Why nothing may be made or sent by this clock at an instant; empty where it may. Two queries.

    ``after_a_break``: somebody says that the time without a sweep was real.
    """
    if off := differs(at):
        return off
    last = Heartbeat.objects.filter(name=heartbeats.SWEEP).values_list("at", flat=True).first()
    if last is None or after_a_break or not settings.CLOCK_GAP or at - last <= settings.CLOCK_GAP:
        return ""
    return (
        f"the last sweep was at {last:%Y-%m-%d %H:%M} UTC, {(at - last).days} days before this clock. If the"
        " clock is right, run: manage.py send_reminders --after-a-break"
    )
