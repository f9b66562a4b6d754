"""Retention and erasure of a student's record; an erasure keeps every proof.

The periods are the law's (``syllabus.law.retention``), dated and cited. An erasure deletes the record's rows
and the bodies of its ledger entries. The ledger's leaves stay with every proof, because a leaf is only a
salted hash; so do the reasons, the access log, and the student's reference. Accounts without another use, the
student's and guardians', are closed and lose name and address (``services.traces``).
"""

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from django.apps import apps
from django.db import connection, transaction
from django.db.models import Exists, OuterRef, Q, Subquery
from django.utils.translation import gettext, gettext_noop, ngettext

from syllabus.engine.errors import InputError
from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.law import retention
from training.ledger.core import sealed
from training.ledger.models import Entry
from training.ledger.store import entries
from training.models import (
    Endorsement,
    Enrolment,
    Flight,
    GroundLesson,
    Guardian,
    ItemGrade,
    LessonRecord,
    RetentionHold,
    Role,
    School,
    Student,
    Test,
    User,
)
from training.services import access, row_scope, texts
from training.services.errors import Conflict
from training.services.records import page_cache, traces
from training.services.signing import seals
from training.triggers import erasing

#: A warning about copies that the program cannot reach.
STAYS = gettext_noop(
    "This does not erase copies in backups, exports, printed pages and sent e-mails. The access log, "
    "earlier holds and the leaves of the ledger stay, without a name. An account with another use, "
    "such as a record at another school, stays too."
)


class ErasureError(InputError):
    """The hold or the erasure is not valid."""

    what = "what was sent"


class NotYet(Conflict):
    """The record may not be erased; ``plan`` says why, and from which day on it may."""

    def __init__(self, plan: "Plan"):
        self.plan = plan
        reasons = " ".join(plan.reasons)
        super().__init__(reasons, summary=f"Nothing was erased. {reasons}")


@dataclass(frozen=True, slots=True)
class Kept:
    """What a rule requires to retain: from which day it counts, and until when."""

    rule: RuleVersion
    day: dt.date
    until: dt.date


@dataclass(frozen=True)
class Plan:
    """What an erasure would do on a day, and what prevents it.

    ``accounts`` are those that it would close. ``named``, known only after an erasure, has the tables and
    numbers of rows that still contain the name, for a person to check.
    """

    student: Student
    on: dt.date
    kept: tuple[Kept, ...]
    holds: tuple[RetentionHold, ...]
    enrolled: bool
    rows: dict[str, int]
    bodies: int
    accounts: tuple[User, ...] = ()
    named: Mapping[str, int] = field(default_factory=dict)

    @property
    def may_from(self) -> dt.date:
        """The first day on which no rule requires anything that is on record now."""
        last = max((each.until for each in self.kept), default=None)
        return max(self.on, last + dt.timedelta(days=1)) if last else self.on

    @property
    def reasons(self) -> list[str]:
        """Why it may not be erased; empty if it may."""
        found = []
        if self.student.erased_at is not None:
            found.append(gettext("The record was already erased."))
        if self.enrolled:
            found.append(gettext("The student is enrolled. End the enrollment first."))
        found += [
            gettext("On hold since %(day)s: %(reason)s") % {"day": each.at.date(), "reason": each.reason}
            for each in self.holds
        ]
        found += [
            ngettext(
                "%(cite)s: %(says)s %(years)d year from %(day)s, so until %(until)s.",
                "%(cite)s: %(says)s %(years)d years from %(day)s, so until %(until)s.",
                each.rule.params["years"],
            )
            % {
                "cite": each.rule.cite.section,
                "says": each.rule.says,
                "years": each.rule.params["years"],
                "day": each.day,
                "until": each.until,
            }
            for each in self.kept
            if each.until >= self.on
        ]
        return found

    @property
    def may(self) -> bool:
        return not self.reasons


def plan(student: Student, on: dt.date, *, counted: bool = True) -> Plan:
    """What may be erased of a student's record on a day. Reads only.

    Three queries without ``counted``, which counts what an erasure would delete, table by table.
    """
    days = _days(student)
    kept = [
        Kept(rule, day, retention.keep_until(rule, day))
        for rule in retention.on(on)
        if retention.binds(rule, student.school.part_141)
        and (day := days[rule.params["counts_from"]]) is not None
    ]
    accounts = _accounts(student) if counted else []
    return Plan(
        student,
        on,
        tuple(kept),
        tuple(RetentionHold.objects.filter(student=student, released_at=None).select_related("by")),
        Enrolment.objects.filter(Enrolment.in_force(on), student=student).exists(),
        dict(_rows(student)) if counted else {},
        _bodies(student).count() if counted else 0,
        tuple(each for each in accounts if _only_here(each, student)),
    )


def _days(student: Student) -> dict[str, dt.date | None]:
    """The days from which a rule may count: the last endorsement, the last test, the end of training.

    Training ends with the last day of the record or of an enrollment, whichever is later. ``citizenship`` has
    that day if an endorsement of that kind is or was on record.
    """
    last = {
        "endorsement": (Endorsement, "given"),
        "test": (Test, "date"),
        "flight": (Flight, "date"),
        "ground": (GroundLesson, "date"),
        "item": (ItemGrade, "date"),
        "enrolment": (Enrolment, "ends"),
        "lesson": (LessonRecord, "created_at"),
    }
    asked: dict[str, Any] = {
        name: Subquery(
            model._default_manager.filter(student=OuterRef("pk"), **{f"{column}__isnull": False})
            .order_by(f"-{column}")
            .values(column)[:1]
        )
        for name, (model, column) in last.items()
    }
    asked["citizenship"] = Exists(
        Endorsement._default_manager.filter(student=OuterRef("pk"), kind="citizenship")
    )
    found: dict[str, Any] = dict(Student.objects.filter(pk=student.pk).values(**asked).get())
    trained = [found[name] for name in ("flight", "ground", "item", "enrolment")]
    trained.append(found["lesson"] and student.school.day(found["lesson"]))
    ended = max((day for day in trained if day is not None), default=None)
    last_given = [day for day in (ended, found["endorsement"]) if day is not None]
    return {
        "endorsement": found["endorsement"],
        "test": found["test"],
        "end-of-training": ended,
        "citizenship": max(last_given) if found["citizenship"] else None,
    }


def _accounts(student: Student) -> list[User]:
    """The student's account and those of guardians."""
    whose = Q(student_records=student) | Q(guardianships__student=student)
    return list(User.objects.filter(whose).distinct().order_by("pk"))


def _only_here(user: User, student: Student) -> bool:
    """Whether an account has no other use than this record, at any school."""
    elsewhere = Role.objects.filter(user=user).exclude(school=student.school_id, role=Role.Kind.STUDENT)
    others = (
        elsewhere,
        Student.objects.filter(user=user).exclude(pk=student.pk),
        Guardian.objects.filter(user=user).exclude(student=student),
    )
    with row_scope.every_school():
        return not (user.is_staff or user.is_superuser or any(each.exists() for each in others))


def _rows(student: Student) -> Iterator[tuple[str, int]]:
    for model in apps.get_app_config("training").get_models():
        if model.__name__ in erasing.STAYS or not erasing.is_about_a_student(model):
            continue
        if number := model._default_manager.filter(student=student).count():
            yield str(model._meta.verbose_name_plural), number


def _bodies(student: Student) -> Any:
    """The ledger entries about a student that still have a body, except those about erasures."""
    return Entry.objects.filter(
        tree=seals.tree_of(student.school_id), subject=str(student.ref), kept__isnull=False
    ).exclude(kind__in=[sealed.ERASURE, erasing.KIND])


@transaction.atomic
def hold(student: Student, reason: str, *, by: User | None, at: dt.datetime, via: str) -> RetentionHold:
    """Place a hold on a student's record. Raises: ErasureError; NotAllowed."""
    access.require(by, "erase a record", student)
    reason = texts.needed(ErasureError, "reason", reason, "write why")
    access.locked_student(student.pk)  # an erasure meanwhile sees it, or was before
    access.log(by, student, access.WRITE, "hold", via=via, at=at)
    return RetentionHold.objects.create(
        school_id=student.school_id, student=student, reason=reason, by=by, at=at
    )


@transaction.atomic
def release(held: RetentionHold, reason: str, *, by: User | None, at: dt.datetime, via: str) -> RetentionHold:
    """End a hold; the row stays. Again, it gives the one released. Raises: ErasureError; NotAllowed."""
    locked = (
        RetentionHold.objects.select_for_update(of=("self",), no_key=True)
        .select_related("student")
        .get(pk=held.pk)
    )
    access.require(by, "erase a record", locked.student)
    reason = texts.needed(ErasureError, "reason", reason, "write why")
    if locked.released_at is None:
        locked.released_at, locked.released_by, locked.released_reason = max(at, locked.at), by, reason
        locked.save(update_fields=["released_at", "released_by", "released_reason"])
        access.log(by, locked.student, access.WRITE, "hold released", via=via, at=at)
    return locked


def erase(student: Student, reason: str, *, by: User | None, at: dt.datetime, via: str) -> Plan:
    """Erase a student's record; returns what was erased.

    First it signs an erasure of each of the student's entries, with the reason, and of the whole record.
    Without these the database refuses to delete a row.

    Raises: NotAllowed if the user does not administer the school; ErasureError; NotYet.
    Effects: one transaction, with the student's row locked; the access is logged.
    """
    access.require(by, "erase a record", student)
    reason = texts.needed(ErasureError, "reason", reason, "write why")
    with transaction.atomic():
        School.objects.select_for_update(no_key=True).get(pk=student.school_id)  # an audit keeps findings
        locked = access.locked_student(student.pk)
        found = plan(locked, locked.school.day(at))
        if not found.may:
            raise NotYet(found)
        accounts = _accounts(locked)
        names = traces.names_of(locked, accounts)
        if told := traces.named(reason, names):
            raise ErasureError.at(
                "reason", f"contains the name {told}; the reason is kept for good, so write it without names"
            )
        _seal(locked, found, reason, by, at)
        if locked.user_id is not None:
            Role.objects.filter(user=locked.user_id, school=locked.school_id, role=Role.Kind.STUDENT).delete()
        Student.objects.filter(pk=locked.pk).update(
            name="", birth_date=None, training_model="", user=None, erased_at=at
        )
        erasing.delete(locked.pk, connection)
        page_cache.forget(locked)
        traces.take_out(locked, names, accounts)
        for each in found.accounts:
            traces.close(each)
        access.log(by, locked, access.WRITE, "erasure of the record", via=via, at=at)
    student.refresh_from_db()
    return replace(found, named=traces.left(names))


def _seal(student: Student, found: Plan, reason: str, by: User | None, at: dt.datetime) -> None:
    """Sign an erasure of each entry about a student, and of the whole record."""
    tree, subject = seals.tree_of(student.school_id), str(student.ref)
    for index in list(_bodies(student).order_by("index").values_list("index", flat=True)):
        body: dict[str, Any] = {"erases": index, "reason": reason}
        entries.append(tree=tree, kind=sealed.ERASURE, subject=subject, body=body, at=at)
    rules = [each.rule.cite.section for each in found.kept]
    said = {"reason": reason, "by": by and by.pk, "entries": found.bodies, "rules": rules}
    seals.seal(student, erasing.KIND, said, at=at)
