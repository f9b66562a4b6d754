"""Calculates and stores a student's standing and expirations; withdraws reminders that no longer apply."""

import datetime as dt
import logging
import zoneinfo
from typing import Any

from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet

from syllabus.law import rulebook
from training import reports
from training.models import Delivery, Lapse, Reminder, School, Stale, Standing, StandingChange, Student
from training.services.reminders import leads

log = logging.getLogger(__name__)
#: After so many failures a record is left until it changes, or until the next day.
MOST_ATTEMPTS = 5
_SHOWN = ("what", "kind", "first_day", "last_day", "requirements", "says", "citations", "model", "ends")


def changed(limit: int) -> list[int]:
    """Students whose record changed since their standing was computed, by key. One query."""
    waiting = Stale.objects.filter(parked_at__isnull=True).order_by("attempts", "student_id")
    return list(waiting.values_list("student_id", flat=True)[:limit])


def parked() -> list[Stale]:
    """Those whose standing could not be computed, each with the error."""
    return list(Stale.objects.filter(parked_at__isnull=False).select_related("school"))


def note_new_rules() -> int:
    """Put every student into ``Stale`` whose standing was computed under other rules than today's; how many.

    Two index look-ups if there are none.
    """
    rules = rulebook.current().id
    other = Standing.objects.filter(Q(rulebook__lt=rules) | Q(rulebook__gt=rules))
    waiting = Stale.objects.filter(student_id=OuterRef("student_id"))
    found = list(other.exclude(Exists(waiting)).values_list("student_id", "school_id"))
    Stale.objects.bulk_create(
        [Stale(student_id=student, school_id=school) for student, school in found],
        ignore_conflicts=True,
        batch_size=1000,
    )
    return len(found)


def unpark_all() -> int:
    """Try again everything that had failed too often; how many."""
    return Stale.objects.filter(parked_at__isnull=False).update(parked_at=None, attempts=0)


def unpark(*, before: dt.datetime) -> int:
    """Try again what failed too often before an instant; how many."""
    return Stale.objects.filter(parked_at__lt=before).update(parked_at=None, attempts=0)


def begin(student: int, at: dt.datetime) -> bool:
    """Count a try before it is made, so that one that kills its process counts. False: one too many, or
    another sweep did it meanwhile.
    """
    counted = Stale.objects.filter(student_id=student, attempts__lt=MOST_ATTEMPTS, parked_at__isnull=True)
    if counted.update(attempts=F("attempts") + 1):
        return True
    given_up = Stale.objects.filter(student_id=student, attempts__gte=MOST_ATTEMPTS, parked_at__isnull=True)
    given_up.filter(fault="").update(fault="every try ended its process before it could say why")
    if given_up.update(parked_at=at):
        log.error("student %s is left: it could not be calculated %s times", student, MOST_ATTEMPTS)
    return False


def failed(student: int, fault: Exception) -> None:
    """Record why a try failed."""
    Stale.objects.filter(student_id=student).update(fault=f"{type(fault).__name__}: {fault}"[:2000])
    log.exception("student %s cannot be calculated", student)


def work_out(student_pk: int, at: dt.datetime) -> bool:
    """Compute and store a student's standing and expirations. False if the record changed meanwhile.

    It is computed without a lock, then stored, with the student's row locked, if the record is unchanged. So
    a sign-off never waits for it.

    Raises: whatever the rules raise about the record.
    """
    student = Student.objects.select_related("school").filter(pk=student_pk).first()
    if student is None:
        Stale.objects.filter(student_id=student_pk).delete()
        return True
    on = student.school.day(at)
    overview = reports.overview(student, on)
    endings = reports.endings(student, on)
    with transaction.atomic():
        Student.objects.select_for_update(no_key=True).filter(pk=student_pk).first()
        # Deleting the row waits for a transaction that is inserting it; then look again. A change that this
        # does not see comes later and inserts the row again.
        Stale.objects.filter(student_id=student_pk).delete()
        now = Student.objects.select_related("school").filter(pk=student_pk).first()
        if now is None or state_of(now) != state_of(student):
            transaction.set_rollback(True)
            return False
        _keep_standing(student, overview, at)
        keep_lapses(student, endings, at)
    return True


def state_of(student: Student) -> tuple[object, ...]:
    """What a record's answers depend on, besides the rule files and the day."""
    own = student.version, student.name, student.birth_date, student.training_model, student.school_id
    return *own, student.school.rules_version, student.school.time_zone


def keep_lapses(student: Student, endings: tuple[reports.Ending, ...], at: dt.datetime) -> None:
    """Replace the stored expirations, inside the caller's transaction."""
    school, on = student.school, student.school.day(at)
    there = {
        (each.what, each.last_day): each
        for each in Lapse.objects.filter(student=student, last_day__gte=on).order_by("pk")
    }
    lead_times, zone = leads.of_school(school), zoneinfo.ZoneInfo(school.time_zone)
    told = leads.told_of([student.pk])
    made: list[Lapse] = []
    altered: list[Lapse] = []
    for ending in endings:
        row = there.pop((ending.what, ending.last), None) or Lapse(school=school, student=student)
        shown = _shown(ending)
        if row.pk and (row.gone_at is not None or any(getattr(row, key) != shown[key] for key in _SHOWN)):
            row.sequence += 1
            row.changed_at = at
        elif not row.pk:
            row.changed_at = at
        back = row.gone_at is not None
        row.gone_at = None
        for key, value in shown.items():
            setattr(row, key, value)
        leads.schedule(row, lead_times, zone, at, told.get((student.pk, ending.what, ending.last), ()))
        (altered if row.pk else made).append(row)
        if back:
            _back(student, ending, at)
    for gone in there.values():
        if gone.gone_at is None:
            gone.gone_at = gone.changed_at = at
            gone.sequence += 1
            gone.due_at = gone.due_lead = None
            altered.append(gone)
            _withdraw(student, gone, at)
    Lapse.objects.bulk_create(made)
    Lapse.objects.bulk_update(
        altered, [*_SHOWN, "due_at", "due_lead", "gone_at", "changed_at", "sequence", "school"]
    )


def _shown(ending: reports.Ending) -> dict[str, Any]:
    return {
        "what": ending.what,
        "kind": ending.kind,
        "first_day": ending.first,
        "last_day": ending.last,
        "requirements": list(ending.requirements),
        "says": ending.says,
        "citations": list(ending.citations),
        "model": ending.model,
        "ends": [each.as_json() for each in ending.ends],
    }


def _withdraw(student: Student, gone: Lapse, at: dt.datetime) -> None:
    """Withdraw the reminders of an expiration that is gone; unsent e-mails leave them out."""
    Reminder.objects.filter(
        student=student, what=gone.what, last_day=gone.last_day, state=Reminder.State.DUE
    ).update(state=Reminder.State.WITHDRAWN, withdrawn_at=at)


def _back(student: Student, ending: reports.Ending, at: dt.datetime) -> None:
    """Restore the reminders of an expiration that is back; those not sent yet are sent."""
    back = Reminder.objects.filter(
        student=student, what=ending.what, last_day=ending.last, state=Reminder.State.WITHDRAWN
    )
    keys = list(back.values_list("pk", flat=True))
    back.update(state=Reminder.State.DUE, withdrawn_at=None)
    Delivery.objects.filter(items__reminder__in=keys, state=Delivery.State.WITHDRAWN).update(
        state=Delivery.State.PENDING, attempts=0
    )


def _keep_standing(student: Student, overview: reports.Overview, at: dt.datetime) -> None:
    before = Standing.objects.filter(student=student).first()
    summary = overview.as_json()
    was = _short(before.summary) if before else {}
    StandingChange.objects.bulk_create(
        StandingChange(
            school=student.school,
            student=student,
            milestone=milestone,
            on=overview.on,
            at=at,
            before=was.get(milestone),
            after=after,
        )
        for milestone, after in _short(summary).items()
        if after != was.get(milestone) and before is not None
    )
    Standing.objects.update_or_create(
        student=student,
        defaults={
            "school": student.school,
            "version": student.version,
            "rulebook": rulebook.current().id,
            "on": overview.on,
            "at": at,
            "summary": summary,
            "rendered_by": "",
        },
    )


def _short(summary: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """The parts of a milestone that a list shows; other parts may differ from day to day without a change."""
    found = {
        each["milestone"]: {
            "met": each["met"],
            "eligible_until": each["eligible_until"] if each["eligible"] else None,
            "gaps": each["gaps"],
        }
        for each in summary["milestones"]
    }
    # Not covered by these rules: neither met nor not met.
    refused = {"met": None, "eligible_until": None, "gaps": 0}
    return found | {each["milestone"]: refused for each in summary.get("not_covered", ())}


def of_yesterday(limit: int, at: dt.datetime) -> list[int]:
    """Students whose standing is not today's at their school, the longest waiting first.

    Leaves out those in ``Stale``, which are computed anyway, or failed.
    """
    found: list[int] = []
    for school in School.objects.order_by("pk"):
        old = _old(school, at).order_by("on", "pk")
        found += old.values_list("student_id", flat=True)[: limit - len(found)]
        if len(found) >= limit:
            break
    return found


def waiting(at: dt.datetime) -> int:
    """The number of ``of_yesterday`` without a limit; for a progress line."""
    return sum(_old(school, at).count() for school in School.objects.all())


def _old(school: School, at: dt.datetime) -> QuerySet[Standing]:
    stale = Stale.objects.filter(student_id=OuterRef("student_id"))
    return Standing.objects.filter(~Exists(stale), school=school, on__lt=school.day(at))


def not_renewed(student: int, fault: Exception) -> None:
    """Record that a standing could not be renewed; it is tried again like a changed record."""
    school = Student.objects.filter(pk=student).values_list("school_id", flat=True).first()
    if school is not None:
        Stale.objects.get_or_create(student_id=student, defaults={"school_id": school})
        failed(student, fault)
