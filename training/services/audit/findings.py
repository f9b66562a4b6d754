"""Runs an audit, stores its findings, and signs resolutions into the school's ledger.

A finding never silently disappears: if an audit no longer finds it, it stays with the time at which it was
gone; if it comes back, or changes after it was resolved, it is open again.
"""

import contextlib
import datetime as dt
import uuid
from collections.abc import Callable, Generator, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet

from syllabus.engine.audit.audit import MENDS
from syllabus.engine.errors import InputError
from syllabus.engine.record import reading
from syllabus.engine.record.reading import Errors
from syllabus.law import rulebook
from training import database
from training.database import run_again
from training.ledger.core import assertions
from training.ledger.store import entries
from training.models import AuditRun, Finding, Resolution, School, Student, User
from training.reports import audit as reports
from training.reports.audit_kinds import NOT_AUDITED
from training.reports.audit_tables import Told
from training.services import access, errors
from training.services.audit import finding_audit
from training.services.audit.finding_audit import SEALED_AS
from training.services.errors import Conflict, NotAllowed
from training.services.lessons import lesson_audit
from training.services.releases import release_audit
from training.services.signing import nonces, seals

MOST_NOTE = 2_000
OPEN, RESOLVED, GONE = STATES = ("open", "resolved", "gone")
_CHANGING = ("kind", "severity", "day", "digest", "body", "student_id", "instructor_id")


class ResolutionError(InputError):
    """The input does not say what was done."""

    what = "the resolution"


@dataclass
class Done:
    """The result of an audit: its findings, how many are new, and how many are gone.

    ``kept`` is false if nothing was stored because a later audit, or one of a later day, was stored before.
    """

    run: AuditRun
    kept: bool = True
    new: int = 0
    returned: int = 0
    gone: int = 0
    standing: list[Finding] = field(default_factory=list)


def school_for(user: User, slug: str | None) -> School:
    """The school of that short name, or the one that a user administers. Raises: NotAllowed."""
    mine = access.schools(user)
    found = list(mine.filter(slug=slug)[:1] if slug else mine.order_by("slug")[:2])
    if len(found) == 1:
        return found[0]
    if found:
        raise NotAllowed("You administer several schools; name one by its short name as school.")
    raise NotAllowed(access.TAKES["audit"][1])


def recompute(
    school: School,
    on: dt.date,
    *,
    at: dt.datetime,
    by: User | None,
    via: str,
    progress: Callable[[Student], None] = lambda student: None,
    noted: bool = True,
) -> Done:
    """Audit a school as of a day, and store the findings.

    The records are read one by one outside a transaction; the findings are written in one, with the school's
    row locked. If a later audit, or one of a later day, was written meanwhile, this one changes nothing:
    today's findings are not gone because somebody audits last year. A record that cannot be audited gives a
    finding of its own, and its earlier findings stay as they are.

    Effects: each student's reading is logged, unless ``noted`` is false because nobody sees anything.
    Raises: whatever ``progress`` raises, with nothing stored.
    """
    # Closed at once if progress raises: the database has an open cursor for it.
    with contextlib.closing(recomputing(school, on, at=at, by=by, via=via, noted=noted)) as steps:
        while True:
            try:
                progress(next(steps))
            except StopIteration as ended:
                return ended.value


def recomputing(
    school: School, on: dt.date, *, at: dt.datetime, by: User | None, via: str, noted: bool = True
) -> Generator[Student, None, Done]:
    """The same, student by student, for a caller that shows progress; if it stops early, nothing is saved."""
    told: dict[str, Told] = {}
    read: list[Student] = []
    for student, found in reports.by_student(school, on, at=at):
        for each in found:
            told.setdefault(each.key, each)
        if student is not None:
            read.append(student)
            yield student
    for sentence in (
        *lesson_audit.faults(school),
        *finding_audit.faults(school),
        *release_audit.faults(school),
    ):
        altered = reports.altered(sentence, on)
        told.setdefault(altered.key, altered)
    if noted:
        access.log_each(by, access.schools_of(read), access.READ, "audit of the school", via=via, at=at)
    return _kept(school, on, at, by, told, len(read))


@run_again
@transaction.atomic
def _kept(
    school: School, on: dt.date, at: dt.datetime, by: User | None, told: Mapping[str, Told], students: int
) -> Done:
    School.objects.select_for_update(no_key=True).get(pk=school.pk)
    run = AuditRun(
        school=school, at=at, on=on, by=by, students=students, found=len(told), rulebook=rulebook.current().id
    )
    later = AuditRun.objects.filter(Q(at__gt=at) | Q(on__gt=on), school=school)
    # One dated after now was made by a clock ahead; nothing later than it will come for long.
    if later.exclude(at__gt=database.now() + settings.CLOCK_DRIFT).exists():
        known = {each.key: each for each in listed(school)}
        standing = [known.get(key) or _row(school, each, at) for key, each in told.items()]
        return Done(run, kept=False, standing=sorted(standing, key=lambda each: each.day, reverse=True))
    run.save()
    stands = {each.key: each for each in Finding.objects.filter(school=school).select_related("student")}
    done, added = Done(run), []
    changed: list[Finding] = []
    again: list[Finding] = []
    for key, each in told.items():
        fresh, row = _row(school, each, at), stands.pop(key, None)
        if row is None:
            added.append(fresh)
        else:
            (changed if _is_another(row, fresh, at) else again).append(row)
    gone = _gone(stands.values(), told.values())
    Finding.objects.bulk_create(added, batch_size=500)
    columns = [each.removesuffix("_id") for each in _CHANGING]
    Finding.objects.bulk_update(
        changed, [*columns, "last_seen", "changed_at", "gone_at", "returned_at"], batch_size=200
    )
    for some in _portions(again):
        Finding.objects.filter(pk__in=some, first_seen__lte=at).update(last_seen=at)
    for some in _portions(gone):
        Finding.objects.filter(pk__in=some).update(gone_at=at)
    done.new, done.gone = len(added), len(gone)
    done.returned = sum(row.returned_at == at for row in changed)
    done.standing = [*added, *changed, *again]
    return done


def _is_another(row: Finding, fresh: Finding, at: dt.datetime) -> bool:
    """Whether a finding came back, or changed since it was resolved."""
    if row.gone_at is not None:
        row.gone_at, row.returned_at = None, at
    elif row.digest != fresh.digest:
        row.changed_at = at
    elif row.body == fresh.body:
        return False
    for name in _CHANGING:
        setattr(row, name, getattr(fresh, name))
    row.last_seen = max(at, row.first_seen)
    return True


def _gone(rest: Iterable[Finding], told: Iterable[Told]) -> list[Finding]:
    """The findings that were not found again, except those about a record that could not be read."""
    unread = {str(each.student.ref) for each in told if each.found.kind == NOT_AUDITED and each.student}
    return [row for row in rest if row.gone_at is None and not _about_any(row, unread)]


def _about_any(row: Finding, students: set[str]) -> bool:
    """Whether a finding is about a record that this audit could not read, so that it may still apply."""
    if not students or row.kind == NOT_AUDITED:
        return False
    return (row.student is not None and str(row.student.ref) in students) or any(
        each["student"] in students for each in row.body["entries"]
    )


def _portions(rows: list[Finding], size: int = 500) -> Iterable[list[int]]:
    keys = [row.pk for row in rows]
    return (keys[start : start + size] for start in range(0, len(keys), size))


def _row(school: School, told: Told, at: dt.datetime) -> Finding:
    return Finding(
        school=school,
        student=told.student,
        instructor_id=told.instructor,
        key=told.key,
        kind=told.found.kind,
        severity=told.found.severity,
        day=told.found.day,
        digest=told.digest,
        body=told.as_json(),
        first_seen=at,
        last_seen=at,
    )


def _standing_resolution() -> Q:
    """The resolution that still applies: made after the finding last returned or changed."""
    of_it = Resolution.objects.filter(finding=OuterRef("pk"), digest=OuterRef("digest"))
    since = Q(returned_at__isnull=True) | Q(Exists(of_it.filter(at__gte=OuterRef("returned_at"))))
    return Q(Exists(of_it)) & since


def listed(
    school: School,
    *,
    state: str | None = None,
    kind: str | None = None,
    severity: str | None = None,
    student: uuid.UUID | None = None,
) -> QuerySet[Finding]:
    """A school's findings, the newest day first; ``dealt_with`` says whether each was resolved.

    ``state``: open, resolved, or gone (the last audit did not find it).
    """
    found = _with_state(Finding.objects.filter(school=school)).prefetch_related("resolutions__by")
    found = found.order_by("-day", "-pk")
    if state:
        found = found.filter(gone_at__isnull=state != GONE)
    if state in (OPEN, RESOLVED):
        found = found.filter(dealt_with=state == RESOLVED)
    asked = {"kind": kind, "severity": severity, "student__ref": student}
    return found.filter(**{name: value for name, value in asked.items() if value})


def _with_state(found: QuerySet[Finding]) -> QuerySet[Any]:
    """Findings with their subjects and ``dealt_with``."""
    dealt_with = Exists(Finding.objects.filter(_standing_resolution(), pk=OuterRef("pk")))
    return found.annotate(dealt_with=dealt_with).select_related("student", "instructor", "school")


def state_of(finding: Finding) -> str:
    """The state of a listed finding."""
    if finding.gone_at is not None:
        return GONE
    return RESOLVED if getattr(finding, "dealt_with", False) else OPEN


def note_read(findings: Iterable[Finding], by: User, *, via: str, at: dt.datetime) -> None:
    """Log that these findings were read: one entry for each student whose record they are about.

    Of a queryset that was not evaluated no finding is read for that.
    """
    if isinstance(findings, QuerySet) and findings._result_cache is None and not findings.query.is_sliced:
        pairs: Iterable[tuple[int | None, int]] = (
            findings.order_by().values_list("student_id", "school_id").distinct()
        )
    else:
        pairs = ((each.student_id, each.school_id) for each in findings)
    whose = {student: school for student, school in pairs if student}
    access.log_each(by, whose, access.READ, "findings of an audit", via=via, at=at)


def find(user: User, ref: uuid.UUID) -> Finding:
    """A finding of a school that a user administers. Raises: NotFound."""
    rows = _with_state(Finding.objects.filter(school__in=access.schools(user)))
    return errors.find(rows, "finding of that id", ref=ref)


def last_run(school: School) -> AuditRun | None:
    """When a school was last audited."""
    return AuditRun.objects.filter(school=school).order_by("-at", "-pk").first()


def said(finding: Finding, how: str, note: str) -> dict[str, str]:
    """What the signature covers: the finding as it is now, and what was done."""
    return {"digest": finding.digest, "how": how, "note": note}


@run_again
def resolve(
    finding: Finding,
    *,
    how: str,
    note: str,
    by: User,
    at: dt.datetime,
    via: str,
    confirmed: Mapping[str, Any] | None = None,
) -> Resolution:
    """Record that a finding was resolved: by a correction, a note, or as impossible to correct.

    The caller has re-authenticated ``by`` (``confirming``). Repeating the same resolution changes nothing.

    Raises: NotAllowed for users who do not administer the school; ResolutionError; Conflict if it was
            resolved differently or is gone.
    Effects: one transaction, with the finding locked; signed into the school's ledger; the access is logged.
    """
    access.require(by, "audit", finding.school)
    _check(how, note)
    with transaction.atomic():
        rows = Finding.objects.select_for_update(of=("self",), no_key=True)
        locked = rows.select_related("student").get(pk=finding.pk)
        since = Q(at__gte=locked.returned_at) if locked.returned_at else Q()
        before = Resolution.objects.filter(since, finding=locked, digest=locked.digest).first()
        if before is not None:
            if (before.by_id, before.how, before.note) == (by.pk, how, note):
                return before
            raise Conflict(
                f"It was resolved on {before.at:%Y-%m-%d} by {before.by}: {before.how}. Read that resolution"
                " first."
            )
        if locked.gone_at is not None:
            raise Conflict("The last audit did not find this any more, so there is nothing to resolve.")
        made = Resolution(
            school_id=locked.school_id,
            finding=locked,
            by=by,
            at=at,
            how=how,
            note=note,
            digest=locked.digest,
            confirmed=confirmed or {},
            ledger_tree=seals.tree_of(locked.school_id),
        )
        made.ledger_index = _seal(made)
        if locked.student:
            access.log(by, locked.student, access.WRITE, f"finding {locked.ref} resolved", via=via, at=at)
        made.save()
    return made


def _check(how: str, note: str) -> None:
    """Raises: ResolutionError."""
    errors = Errors()
    if how not in MENDS:
        errors.add("how", f"{how!r} is not one of {', '.join(MENDS)}")
    text = reading.text(errors, note, "note")
    if text is not None and not text.strip():
        errors.add("note", "is empty; write what was done, or why nothing needs to be done")
    if text is not None and len(text) > MOST_NOTE:
        errors.add("note", f"has {len(text)} characters, at most {MOST_NOTE} fit")
    errors.stop(ResolutionError)


def _seal(made: Resolution) -> int:
    """Sign a resolution into the ledger; returns its place there. Raises: ResolutionError."""
    finding = made.finding
    body = {
        "finding": str(finding.ref),
        "kind": finding.kind,
        "severity": finding.severity,
        "says": finding.body["says"],
        **said(finding, made.how, made.note),
        "by": made.by_id,
        **({"confirmed": made.confirmed} if made.confirmed else {}),
    }
    subject = subject_of(finding)
    if wrong := assertions.entry_fault(SEALED_AS, subject, body):
        raise ResolutionError.at("", f"cannot be signed into the ledger: {wrong}")
    nonces.spend(made.confirmed, made.at)
    sealed = entries.append(tree=made.ledger_tree, kind=SEALED_AS, subject=subject, body=body, at=made.at)
    return sealed.index


def subject_of(finding: Finding) -> str:
    """The subject of the ledger entry: the student's reference, or the instructor's number."""
    if finding.student is not None:
        return str(finding.student.ref)
    if finding.instructor_id is not None:
        return f"instructor-{finding.instructor_id}"
    return seals.tree_of(finding.school_id)
