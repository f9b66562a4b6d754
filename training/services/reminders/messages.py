"""The words of an e-mail: plain text and HTML from one template each. Subjects say nothing of a record."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from email.utils import parseaddr
from typing import Any

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.template.loader import render_to_string
from django.utils import translation
from django.utils.translation import gettext as _

from syllabus.engine.report import CAUTION
from training.models import Delivery, Reminder

SUBJECTS = {
    Delivery.Kind.REMINDER: "Training record: something ends soon",
    Delivery.Kind.DIGEST: "Training records at {school}: what ends soon",
    Delivery.Kind.CHECKPOINT: "Ledger of {school}: checkpoint of {day}",
}


@dataclass(frozen=True, slots=True)
class Line:
    """One thing that ends, in words."""

    whose: str
    says: str
    citation: str
    day: str
    days_left: int
    ends: tuple[str, ...]

    @property
    def when(self) -> str:
        if self.days_left < 0:
            return _("ended on %(day)s") % {"day": self.day}
        if self.days_left == 0:
            return _("holds today, %(day)s, for the last time") % {"day": self.day}
        return _("holds through %(day)s") % {"day": self.day}


def day_in_words(day: dt.date) -> str:
    """A day without any doubt which number is the month: ``3 March 2027``."""
    months = (
        _("January"), _("February"), _("March"), _("April"), _("May"), _("June"), _("July"), _("August"),
        _("September"), _("October"), _("November"), _("December"),
    )  # fmt: skip
    return f"{day.day} {months[day.month - 1]} {day.year}"


def line_of(reminder: Reminder, today: dt.date) -> Line:
    whose, says = str(reminder.role.user if reminder.role else ""), reminder.says
    if reminder.student:
        whose = reminder.student.name
    if reminder.aircraft:
        whose, says = reminder.aircraft.registration, f"{reminder.aircraft.registration}: {says}"
    return Line(
        whose=whose,
        says=says,
        citation=", ".join(reminder.citations),
        day=day_in_words(reminder.last_day),
        days_left=(reminder.last_day - today).days,
        ends=tuple(each["title"] for each in reminder.ends),
    )


def message_id(delivery: Delivery) -> str:
    """The same at every try: a second copy is the same message to whoever receives it (RFC 5322, 3.6.4)."""
    domain = parseaddr(settings.DEFAULT_FROM_EMAIL)[1].rpartition("@")[2] or "localhost"
    return f"<{delivery.pk}@{domain}>"


def compose(delivery: Delivery, reminders: Iterable[Reminder], at: dt.datetime) -> EmailMultiAlternatives:
    """The e-mail of a delivery that tells these reminders, in the recipient's language."""
    user, guardian = delivery.user, delivery.guardian
    to, name, language = "", "", "en"
    if user is not None:
        own = getattr(user, "reminder_preferences", None)
        to, name, language = user.email, str(user), own.language if own else "en"
    elif guardian is not None:
        to, name, language = guardian.email, guardian.name, guardian.language
    today = delivery.school.day(at)
    with translation.override(language):
        lines = [line_of(each, today) for each in reminders]
        told: dict[str, Any] = {
            "delivery": delivery,
            "name": name,
            "guardian": guardian is not None,
            "lines": lines,
            "school": delivery.school.name,
            "student": delivery.student.name if delivery.student else "",
            "own": user is not None and delivery.student is not None and delivery.student.user_id == user.pk,
            "address": f"{settings.PUBLIC_ADDRESS}/reminders/" if user is not None else "",
            "caution": CAUTION,
        }
        subject = _(SUBJECTS[Delivery.Kind(delivery.kind)]).format(
            school=delivery.school.name,
            day=day_in_words(delivery.school.day(delivery.created_at)),
        )
        text = render_to_string("training/mail/message.txt", told)
        html = render_to_string("training/mail/message.html", told)
    mail = EmailMultiAlternatives(
        " ".join(subject.split()),
        text,
        to=[to],
        headers={
            "Message-ID": message_id(delivery),
            "Auto-Submitted": "auto-generated",  # RFC 3834: no out-of-office answers
            "Precedence": "bulk",
        },
    )
    mail.attach_alternative(html, "text/html")
    return mail
