"""The text of an e-mail: plain text and HTML from one template each. Subjects reveal nothing of a record."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from email.utils import parseaddr
from typing import Any

from allauth.account import app_settings
from allauth.account.utils import user_pk_to_url_str
from django.conf import settings
from django.core.mail import EmailMessage, EmailMultiAlternatives
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import dateformat, translation
from django.utils.translation import gettext, gettext_noop, pgettext
from django.utils.translation import gettext as _

from syllabus.engine.rules.report import CAUTION
from training.models import Delivery, Reminder
from training.services.reminders import due, preferences

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


def _of_an_account(delivery: Delivery) -> EmailMessage:
    """E-mail about an account. The link to set a password is made here, so that nothing stores it."""
    subject, text = delivery.subject, delivery.text
    if delivery.kind == Delivery.Kind.LINK and delivery.user is not None:
        token = app_settings.PASSWORD_RESET_TOKEN_GENERATOR().make_token(delivery.user)
        kwargs = {"uidb36": user_pk_to_url_str(delivery.user), "key": token}
        with translation.override(preferences.of(delivery.user).language):
            told = {
                "password_reset_url": settings.PUBLIC_ADDRESS
                + reverse("account_reset_password_from_key", kwargs=kwargs)
            }
            subject = render_to_string("account/email/password_reset_key_subject.txt", told)
            text = render_to_string("account/email/password_reset_key_message.txt", told).lstrip("\n")
    return EmailMessage(
        " ".join(subject.split()),
        text,
        to=[delivery.to],
        headers={"Message-ID": message_id(delivery), "Auto-Submitted": "auto-generated"},
    )


def compose(delivery: Delivery, reminders: Iterable[Reminder], at: dt.datetime) -> EmailMessage:
    """The e-mail of a delivery about these reminders, in the recipient's language."""
    user, guardian, school = delivery.user, delivery.guardian, delivery.school
    if delivery.to or school is None:
        return _of_an_account(delivery)
    to, name, language = "", "", "en"
    if user is not None:
        own = getattr(user, "reminder_preferences", None)
        to, name, language = user.email, str(user), own.language if own else "en"
    elif guardian is not None:
        to, name, language = guardian.email, guardian.name, guardian.language
    today = school.day(at)
    with translation.override(language):
        lines = [line_of(each, today) for each in reminders]
        told: dict[str, Any] = {
            "delivery": delivery,
            "name": name,
            "guardian": guardian is not None,
            "lines": lines,
            "school": school.name,
            "student": delivery.student.name if delivery.student else "",
            "own": user is not None and delivery.student is not None and delivery.student.user_id == user.pk,
            "address": f"{settings.PUBLIC_ADDRESS}/reminders/" if user is not None else "",
            "caution": CAUTION,
        }
        subject = delivery.subject or gettext(SUBJECTS[Delivery.Kind(delivery.kind)]) % {
            "school": school.name,
            "day": day_in_words(school.day(delivery.created_at)),
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
