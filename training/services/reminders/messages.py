"""The text of an e-mail: plain text and HTML from one template each. Subjects reveal nothing of a record."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from email.utils import parseaddr
from typing import Any

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.template.loader import render_to_string
from django.utils import dateformat, translation
from django.utils.translation import gettext, gettext_noop, pgettext
from django.utils.translation import gettext as _

from syllabus.engine.rules.report import CAUTION
from training.models import Delivery, Reminder
from training.services.reminders import due

SUBJECTS = {
    Delivery.Kind.REMINDER: gettext_noop("Training record: something expires soon"),
    Delivery.Kind.DIGEST: gettext_noop("Training records at %(school)s: what expires soon"),
    Delivery.Kind.CHECKPOINT: gettext_noop("Ledger of %(school)s: checkpoint of %(day)s"),
    Delivery.Kind.NOTICE: gettext_noop("Training record changed"),
}


@dataclass(frozen=True, slots=True)
class Line:
    """One expiration in words."""

    whose: str
    says: str
    citation: str
    day: str
    days_left: int
    ends: tuple[str, ...]

    @property
    def when(self) -> str:
        if self.days_left < 0:
            return _("expired on %(day)s") % {"day": self.day}
        if self.days_left == 0:
            return _("expires at the end of today, %(day)s") % {"day": self.day}
        return _("valid through %(day)s") % {"day": self.day}


def day_in_words(day: dt.date) -> str:
    """A day with the month in letters, so that it is unambiguous: ``3 March 2027``."""
    # Translators: a day with the month in words, in the letters of Django's date filter.
    return dateformat.format(day, pgettext("a day in a mail", "j F Y"))


def line_of(reminder: Reminder, today: dt.date) -> Line:
    whose, says = "", reminder.says
    if reminder.role:
        whose, says = str(reminder.role.user), gettext(due.RECENT_EXPERIENCE_SAYS)
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
    """The same for every try, so that mail programs recognize a second copy (RFC 5322, 3.6.4)."""
    domain = parseaddr(settings.DEFAULT_FROM_EMAIL)[1].rpartition("@")[2] or "localhost"
    return f"<{delivery.pk}@{domain}>"


def compose(delivery: Delivery, reminders: Iterable[Reminder], at: dt.datetime) -> EmailMultiAlternatives:
    """The e-mail of a delivery about these reminders, in the recipient's language."""
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
        subject = gettext(SUBJECTS[Delivery.Kind(delivery.kind)]) % {
            "school": delivery.school.name,
            "day": day_in_words(delivery.school.day(delivery.created_at)),
        }
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
