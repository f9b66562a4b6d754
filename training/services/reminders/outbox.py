"""Sends the mail in the outbox: each row once, or after a crash twice with the same Message-ID.

A try is counted and committed first. Then the row is locked while the mail goes out, so that no second worker
takes it; the lock dies with its worker. Nobody can tell whether a mail went out that was handed over just
before a crash: that one is sent again.
"""

import contextlib
import datetime as dt
import fcntl
import logging
import pathlib
import smtplib
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from django.core.mail import EmailMessage
from django.db import connection, transaction
from django.db.models import Exists, F, OuterRef
from django.utils import timezone

from training.models import Delivery, DeliveryItem, Reminder, ReminderOf, School, Stale
from training.services.reminders import mail_server, messages, outgoing, recipients
from training.services.reminders.mail_server import Unreachable

log = logging.getLogger(__name__)
#: Seconds until the next try after the first, second, … failure. After the last the delivery has failed.
PAUSES = (60, 300, 1800, 2 * 3600, 6 * 3600, 12 * 3600)
MOST_ATTEMPTS = len(PAUSES) + 1


@dataclass
class Sent:
    """The result of one run of the outbox."""

    sent: int = 0
    withdrawn: int = 0
    failed: int = 0
    #: Why the mail server could not be reached; this counts against no delivery.
    unreachable: str = ""


def send(*, until: float, now: Callable[[], dt.datetime] = timezone.now) -> Sent:
    """Send what is due until the monotonic clock reaches ``until``, or nothing remains.

    Errors of the mail server are stored with the delivery, never raised.
    """
    done = Sent()
    with _one_sender() as mine, _Post() as post:
        while mine and time.monotonic() < until and not done.unreachable:
            if not _send_next(done, post, now()):
                break
    if done.unreachable:
        log.error("no e-mail can be sent: %s", done.unreachable)
    return done


@contextlib.contextmanager
def _one_sender() -> Iterator[bool]:
    """On SQLite, which has no row locks: whether this process is the one that sends from this database."""
    if connection.features.has_select_for_update_skip_locked:
        yield True
        return
    # Beside the database, so that another database in the same folder has its own sender.
    beside = pathlib.Path(connection.settings_dict["NAME"])
    with open(beside.with_name(f"{beside.name}.sending"), "w") as held:
        try:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            yield False
            return
        yield True


class _Post:
    """One connection to the mail server for several mails."""

    def __init__(self) -> None:
        self._backend: Any = None

    def __enter__(self) -> "_Post":
        return self

    def __exit__(self, *_: object) -> None:
        self._close()

    def _close(self) -> None:
        if self._backend is not None:
            with contextlib.suppress(OSError, smtplib.SMTPException):
                self._backend.close()
            self._backend = None

    def hand_over(self, mail: EmailMessage) -> None:
        """Raises: Unreachable; whatever the server says about this mail."""
        if self._backend is None:
            self._backend = mail_server.connect()
            try:
                self._backend.open()
            except (OSError, smtplib.SMTPException) as fault:
                self._close()
                raise Unreachable(mail_server.in_words(fault)) from fault
        mail.connection = self._backend
        try:
            mail.send()
        except smtplib.SMTPSenderRefused as fault:  # the same for every mail: it is none's own fault
            self._close()
            raise Unreachable(mail_server.in_words(fault)) from fault
        except (OSError, smtplib.SMTPException):  # the next one gets a connection of its own
            self._close()
            raise


def _send_next(done: Sent, post: _Post, at: dt.datetime) -> bool:
    """Send one delivery. False if none is due that nobody else is sending."""
    claimed = _claim(at)
    if claimed is None:
        return False
    pk, attempt = claimed
    if attempt > MOST_ATTEMPTS:
        _end(pk, Delivery.State.FAILED, fault="every try ended its process before it could say why")
        done.failed += 1
        return True
    with _held(pk, attempt) as delivery:
        if delivery is None:
            return True
        reminders = _left(delivery, at)
        if why_not := _needless(delivery, reminders, at):
            delivery.state, delivery.fault = Delivery.State.WITHDRAWN, why_not
            done.withdrawn += 1
        else:
            _try(delivery, reminders, done, post, at)
    return True


def _try(delivery: Delivery, reminders: list[Reminder], done: Sent, post: _Post, at: dt.datetime) -> None:
    try:
        post.hand_over(messages.compose(delivery, reminders, at))
    except Unreachable as fault:
        delivery.attempts -= 1
        delivery.fault = done.unreachable = str(fault)
    except Exception as fault:
        delivery.fault = mail_server.in_words(fault)
        if delivery.attempts >= MOST_ATTEMPTS or _refused_for_good(fault):
            delivery.state = Delivery.State.FAILED
            done.failed += 1
            log.error("delivery %s failed: %s", delivery.pk, type(fault).__name__)
        else:
            delivery.send_after = at + dt.timedelta(seconds=PAUSES[delivery.attempts - 1])
            log.warning("delivery %s is tried again: %s", delivery.pk, type(fault).__name__)
    else:
        delivery.state, delivery.sent_at, delivery.fault = Delivery.State.SENT, timezone.now(), ""
        if delivery.to:
            delivery.text = ""  # nobody reads it here again
        done.sent += 1


def _claim(at: dt.datetime) -> tuple[str, int] | None:
    """Count a try of the delivery that has waited longest, and commit.

    Skips deliveries about a record that changed after they were calculated, because they may no longer apply.
    """
    changed = Stale.objects.filter(student_id=OuterRef("reminder__student_id"), parked_at__isnull=True)
    doubtful = DeliveryItem.objects.filter(Exists(changed), delivery=OuterRef("pk"))
    with transaction.atomic():
        due = Delivery.objects.filter(
            ~Exists(doubtful), state=Delivery.State.PENDING, send_after__lte=at
        ).order_by("send_after", "pk")
        if connection.features.has_select_for_update_skip_locked:
            due = due.select_for_update(skip_locked=True, no_key=True)
        found = due.first()
        if found is None:
            return None
        Delivery.objects.filter(pk=found.pk).update(attempts=F("attempts") + 1)
        return str(found.pk), found.attempts + 1


@contextlib.contextmanager
def _held(pk: str, attempt: int) -> Iterator[Delivery | None]:
    """The delivery, locked if the database can, if the try is still ours; saves what was set on it."""
    mine = Delivery.objects.filter(pk=pk, attempts=attempt, state=Delivery.State.PENDING)
    related = mine.select_related(
        "school", "student__user", "student__school", "user__reminder_preferences", "guardian"
    )
    if not connection.features.has_select_for_update_skip_locked:
        delivery = related.first()
        yield delivery
        _keep(delivery)
        return
    with transaction.atomic():
        if not mine.select_for_update(skip_locked=True, no_key=True).exists():
            yield None
            return
        delivery = related.first()
        yield delivery
        _keep(delivery)


def _keep(delivery: Delivery | None) -> None:
    """Save what a try set. A link that nobody gets is forgotten: the address may be anybody's."""
    if delivery is None:
        return
    if delivery.kind == Delivery.Kind.LINK and delivery.state == Delivery.State.WITHDRAWN:
        delivery.delete()
    else:
        delivery.save(update_fields=["state", "attempts", "fault", "send_after", "sent_at", "user", "text"])


def _end(pk: str, state: str, *, fault: str) -> None:
    Delivery.objects.filter(pk=pk, state=Delivery.State.PENDING).update(state=state, fault=fault)


def _left(delivery: Delivery, at: dt.datetime) -> list[Reminder]:
    """What the delivery still has to say: what was neither withdrawn nor snoozed meanwhile."""
    if delivery.to or delivery.school is None:
        return []
    put_off = ReminderOf.objects.filter(
        user=delivery.user_id, reminder=OuterRef("pk"), snoozed_until__gt=delivery.school.day(at)
    )
    return list(
        Reminder.objects.filter(~Exists(put_off), items__delivery=delivery, state=Reminder.State.DUE)
        .select_related("student", "role__user", "aircraft")
        .order_by("last_day", "pk")
    )


def _needless(delivery: Delivery, reminders: list[Reminder], at: dt.datetime) -> str:
    """Why there is nothing to send any more; empty where there is. Finds the account that a link is for."""
    if delivery.kind == Delivery.Kind.LINK:
        return outgoing.needless(delivery, at)
    if delivery.school is None or delivery.to:
        return ""
    if not reminders and not delivery.text:
        return "nothing to say any more"
    return "" if _still_told(delivery, delivery.school, at) else "no longer for this person"


def _still_told(delivery: Delivery, school: School, at: dt.datetime) -> bool:
    """Whether the recipient still is one: an assignment, a consent or an account may have ended."""
    if delivery.user is not None and not delivery.user.is_active:
        return False
    if delivery.kind == Delivery.Kind.NOTICE:
        guardian = delivery.guardian
        return guardian is None or guardian.consents(school.day(at))
    if delivery.kind != Delivery.Kind.REMINDER:
        told = recipients.administrators(school)
    elif delivery.student is None:
        if not delivery.items.filter(reminder__aircraft__isnull=False).exists():
            return True  # one's own date
        told = [*recipients.instructors(school), *recipients.administrators(school)]
    else:
        told = recipients.of_student(delivery.student, school.day(at))
    return (delivery.user_id, delivery.guardian_id) in {
        (each.user and each.user.pk, each.guardian and each.guardian.pk) for each in told
    }


def _refused_for_good(fault: Exception) -> bool:
    """Whether the server refuses for good (a 5xx code, RFC 5321)."""
    if isinstance(fault, smtplib.SMTPRecipientsRefused):
        return all(code >= 500 for code, _ in fault.recipients.values())
    return isinstance(fault, smtplib.SMTPResponseException) and fault.smtp_code >= 500
