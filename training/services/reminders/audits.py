"""Audits each school's records every night, and stores the findings as for a requested audit.

Nobody sees a record by it, so it logs no access: whoever reads the findings does.
"""

import datetime as dt
import logging
import time

from django.db.models import F, Q

from training.models import NightlyAudit, School, Student
from training.services.audit import findings

log = logging.getLogger(__name__)
#: After so many failures an audit waits until the next day.
MOST_TRIES = 3
VIA = "nightly"


class TooLong(Exception):
    """The audit did not fit into the time of a sweep."""


def waiting(at: dt.datetime) -> list[School]:
    """The schools not yet audited on their day, nor tried too often. One query, whatever is stored."""
    found = []
    longest_first = F("nightly_audit__on").asc(nulls_first=True)
    schools = School.objects.select_related("nightly_audit")
    for school in schools.order_by(longest_first, "nightly_audit__tries", "pk"):
        night = getattr(school, "nightly_audit", None)
        if night is None or night.on != school.day(at) or (not night.done and night.tries < MOST_TRIES):
            found.append(school)
    return found


def run(school: School, at: dt.datetime, until: float) -> bool | None:
    """Audit a school as of its day, by ``until`` on the monotonic clock; false if it failed, None if
    another sweep did it meanwhile.

    The try is counted first, so that one that kills its process counts. Call it outside a transaction: the
    findings are stored in one of their own.
    """
    on = school.day(at)
    if not _begin(school, on):
        return None

    def in_time(student: Student) -> None:
        if time.monotonic() >= until:
            raise TooLong("took longer than a sweep may; run manage.py audit, which has no time limit")

    try:
        findings.recompute(school, on, at=at, by=None, via=VIA, progress=in_time, noted=False)
    except Exception as fault:
        log.exception("the nightly audit of school %s failed", school.slug)
        NightlyAudit.objects.filter(school=school, on=on, done=False).update(
            fault=f"{type(fault).__name__}: {fault}"[:2000]
        )
        return False
    NightlyAudit.objects.filter(school=school, on=on).update(done=True, fault="")
    return True


def _begin(school: School, on: dt.date) -> bool:
    NightlyAudit.objects.get_or_create(school=school, defaults={"on": on})
    night = NightlyAudit.objects.filter(school=school)
    night.filter(~Q(on=on)).update(on=on, tries=0, done=False, fault="")
    return bool(night.filter(on=on, done=False, tries__lt=MOST_TRIES).update(tries=F("tries") + 1))
