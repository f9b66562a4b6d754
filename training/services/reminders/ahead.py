"""Repairs what a sweep with a clock ahead left behind: early reminders and ends.

Such rows lie after now. A reminder made then is withdrawn, sent or not, so that it comes at its own time.
"""

import datetime as dt
import itertools
import logging

from django.conf import settings
from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q
from django.db.models.functions import Least

from training.models import (
    Delivery,
    Finding,
    Lapse,
    Notice,
    Reminder,
    School,
    Stale,
    Standing,
    StandingChange,
)
from training.services.reminders import leads
from training.services.reminders.outbox import PAUSES

log = logging.getLogger(__name__)
#: A process looks at everything in its first sweep: a sweep that was killed left no heartbeat.
_first = itertools.count()


def repair(at: dt.datetime, *, thorough: bool) -> int:
    """Repair every school where something lies after an instant, which is now; how many schools.

    Two index look-ups for each school; more in a process's first sweep, and where ``thorough`` asks for it.
    """
    late = at + settings.CLOCK_DRIFT
    thorough = thorough or next(_first) == 0
    return sum(_school(each, at, late, thorough) for each in School.objects.order_by("pk"))


@transaction.atomic
def _school(school: School, at: dt.datetime, late: dt.datetime, thorough: bool) -> bool:
    made = Reminder.objects.filter(school=school, created_at__gt=late)
    standings = Standing.objects.filter(school=school, on__gt=school.day(late))
    students = {*made.values_list("student_id", flat=True), *standings.values_list("student_id", flat=True)}
    untold = ~Exists(
        Reminder.objects.filter(
            student=OuterRef("student_id"), what=OuterRef("what"), last_day=OuterRef("last_day")
        )
    )
    erased = Q(pk__in=[])
    if thorough or students:
        coming = Lapse.objects.filter(
            untold, school=school, last_day__gte=school.day(at), due_at__isnull=True
        )
        erased = Q(pk__in=list(coming.values_list("pk", flat=True)))
    rows = made.delete()[0]
    rows += leads.reschedule(school, at=at, which=erased | Q(student__in=students - {None}))
    if not (students or rows):
        return False
    Notice.objects.filter(school=school, kind=Notice.Kind.REMINDER, at__gt=late).delete()
    StandingChange.objects.filter(school=school, on__gt=school.day(late)).delete()
    tried_again = at + dt.timedelta(seconds=max(PAUSES)) + settings.CLOCK_DRIFT
    waiting = Delivery.objects.filter(school=school, state=Delivery.State.PENDING)
    waiting.filter(attempts__gt=0, send_after__gt=tried_again).update(send_after=at)
    seen = {name: Least(F(name), at) for name in ("first_seen", "last_seen", "changed_at", "returned_at")}
    Finding.objects.filter(school=school, last_seen__gt=late).update(**seen)
    stale = [Stale(student_id=each, school=school) for each in sorted(students - {None})]
    Stale.objects.bulk_create(stale, ignore_conflicts=True, batch_size=1000)
    log.warning("school %s: %s rows dated after now are repaired", school.slug, rows + len(students))
    return True
