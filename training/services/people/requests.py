"""Requests of students to their instructors, and the answers. An answer changes nothing on record."""

import datetime as dt
import uuid
from dataclasses import dataclass

from django.db import transaction
from django.db.models import QuerySet
from django.utils import translation
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from syllabus.engine.errors import InputError
from syllabus.engine.record.reading import Errors
from training.models import Delivery, LessonRecord, Student, StudentRequest, User
from training.presenters.days import day
from training.services import access, texts
from training.services.errors import Conflict, find
from training.services.reminders import recipients
from training.services.reminders.recipients import Recipient

Kind, State = StudentRequest.Kind, StudentRequest.State
#: The longest text of a request or an answer; and how many open requests of one student are enough.
MOST_TEXT, MOST_OPEN = 1_000, 10
#: The farthest day of a lesson or a release, in days from today: a year.
AHEAD = 366
_SENT = ("student_id", "kind", "on", "lesson_id", "text")
ANSWERS = (State.ACCEPTED, State.DECLINED)
#: The kinds in words, each with its day.
ASKED = {
    Kind.LESSON: gettext_noop("a lesson on %(what)s"),
    Kind.CORRECTION: gettext_noop("a correction of the lesson of %(what)s"),
    Kind.RELEASE: gettext_noop("a solo release for %(what)s"),
}
_ANSWERED = {
    State.ACCEPTED: gettext_noop("%(by)s accepted your request for %(asked)s."),
    State.DECLINED: gettext_noop("%(by)s declined your request for %(asked)s."),
}


class RequestError(InputError):
    """The request or the answer is not valid."""

    what = "the request"


@dataclass(frozen=True, slots=True)
class Asked:
    """The request on record, and whether this call made it."""

    row: StudentRequest
    created: bool


def listed(student: Student) -> QuerySet[StudentRequest]:
    """A student's requests, the newest first."""
    return StudentRequest.objects.filter(student=student).select_related("by", "lesson", "student__school")


def words(row: StudentRequest) -> str:
    """The request in words: ``a lesson on 5 Dec 2026``."""
    return _(ASKED[Kind(row.kind)]) % {"what": day(row.on or _flown(row))}


def _flown(row: StudentRequest) -> dt.date:
    """The day of the lesson to be corrected."""
    assert row.lesson is not None
    content = row.lesson.content
    part = content.get("flight") or content.get("ground") or {}
    return dt.date.fromisoformat(part["date"]) if part else row.student.school.day(row.lesson.created_at)


@transaction.atomic
def ask(
    student: Student,
    *,
    id: uuid.UUID,
    kind: str,
    on: dt.date | None = None,
    lesson: uuid.UUID | None = None,
    text: str = "",
    by: User,
    at: dt.datetime,
    via: str,
) -> Asked:
    """Ask for a lesson or a release on a day, or for the correction of a signed lesson.

    Only the student may. Sending the same again returns the first one.
    Raises: NotAllowed; RequestError; Conflict if the id belongs to something else, or too many are open.
    Effects: one transaction, with the student's row locked; an e-mail to each instructor of today.
    """
    access.require(by, "make a request", student, on=at.date())
    locked = access.locked_student(student.pk)
    row = StudentRequest(
        id=id,
        school=locked.school,
        student=locked,
        kind=kind,
        on=on,
        lesson_id=lesson,
        text=texts.short(RequestError, "text", text.strip(), MOST_TEXT),
        at=at,
    )
    there = StudentRequest.objects.filter(pk=id).first()
    if there is not None:
        if any(getattr(there, each) != getattr(row, each) for each in _SENT):
            raise Conflict(f"The id {id} is already used by another request. Send it again with a new id.")
        return Asked(there, created=False)
    _check(row)
    if StudentRequest.objects.filter(student=locked, state=State.OPEN).count() >= MOST_OPEN:
        raise Conflict(f"{MOST_OPEN} of your requests are open. Withdraw one, or wait for an answer.")
    row.save(force_insert=True)
    access.log(by, locked, access.WRITE, f"request {row.pk}", via=via, at=at)
    for one in recipients.of_student(locked, locked.school.day(at)):
        if one.why == recipients.INSTRUCTS and one.email:
            with translation.override(one.language):
                said = {"student": locked.name, "asked": words(row)}
                subject = _("%(student)s asks for %(asked)s") % said
                _mail(row, one, f"{subject}.", subject, at)
    return Asked(row, created=True)


def _check(row: StudentRequest) -> None:
    """Raises: RequestError with every error."""
    errors, today = Errors(), row.student.school.day(row.at)
    if row.kind not in Kind.values:
        errors.add("kind", f"is none of {', '.join(Kind.values)}")
    elif row.kind == Kind.CORRECTION:
        signed = LessonRecord.objects.filter(student=row.student, state=LessonRecord.State.SIGNED)
        if row.on is not None:
            errors.add("on", "belongs to a lesson or a release; leave it out")
        if row.lesson_id is None or not signed.filter(pk=row.lesson_id).exists():
            errors.add("lesson", "is not a signed lesson of this student")
        if not row.text:
            errors.add("text", "is empty; write what is wrong")
    else:
        if row.lesson_id is not None:
            errors.add("lesson", "belongs to a correction; leave it out")
        if row.on is None:
            errors.add("on", "is missing; enter the day, such as 2026-11-29")
        elif not today <= row.on <= today + dt.timedelta(days=AHEAD):
            errors.add("on", f"{row.on} is not within a year from today, {today}")
    errors.stop(RequestError)


@transaction.atomic
def answer(
    student: Student, entry: uuid.UUID, *, state: str, text: str, by: User, at: dt.datetime, via: str
) -> StudentRequest:
    """Accept or decline an open request, for those who may write the record. The same answer again is fine.

    Raises: NotAllowed; NotFound; RequestError; Conflict if it has another answer, or was withdrawn.
    Effects: one transaction; an e-mail to the student.
    """
    access.require(by, "answer a request", student, on=at.date())
    if state not in ANSWERS:
        raise RequestError.at("state", f"is none of {', '.join(ANSWERS)}")
    text = texts.short(RequestError, "answer", text.strip(), MOST_TEXT)
    if state == State.DECLINED:
        text = texts.needed(RequestError, "answer", text, "write why", MOST_TEXT)
    row = _locked(student, entry)
    if _closed(row, state, text, by, at, via) and student.user is not None and student.user.is_active:
        for one in recipients.of_users([(student.user, recipients.ONESELF)], student.school):
            if one.email:
                with translation.override(one.language):
                    said = _(_ANSWERED[State(state)]) % {"by": by, "asked": words(row)}
                    _mail(row, one, f"{said} {text}".strip(), _("Your request was answered"), at)
    return row


@transaction.atomic
def withdraw(student: Student, entry: uuid.UUID, *, by: User, at: dt.datetime, via: str) -> StudentRequest:
    """Withdraw one's own open request; again is fine. Raises: NotAllowed; NotFound; Conflict if answered."""
    access.require(by, "make a request", student, on=at.date())
    row = _locked(student, entry)
    _closed(row, State.WITHDRAWN, "", by, at, via)
    return row


def _locked(student: Student, entry: uuid.UUID) -> StudentRequest:
    access.locked_student(student.pk)
    return find(listed(student), "request of that id", pk=entry)


def _closed(row: StudentRequest, state: str, text: str, by: User, at: dt.datetime, via: str) -> bool:
    """Close an open request; false if it was closed so before. Raises: Conflict."""
    if row.state == state and row.answer == text:
        return False
    if row.state != State.OPEN:
        raise Conflict(f"This request was already {row.state}.")
    row.state, row.answer, row.by, row.answered_at = state, text, by, max(at, row.at)
    row.save(update_fields=["state", "answer", "by", "answered_at"])
    access.log(by, row.student, access.WRITE, f"request {row.pk} {state}", via=via, at=at)
    return True


def _mail(row: StudentRequest, one: Recipient, text: str, subject: str, at: dt.datetime) -> None:
    """Queue the e-mail. It has no word of the request's own text, which is read after signing in."""
    Delivery.objects.create(
        school_id=row.school_id,
        kind=Delivery.Kind.NOTICE,
        key=f"request:{row.pk}:{row.state}:{one.key}",
        student=row.student,
        user=one.user,
        subject=subject[:200],
        text=text,
        send_after=one.from_then(at),
        created_at=at,
    )
