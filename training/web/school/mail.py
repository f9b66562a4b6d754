"""E-mail: what waits, what failed and why, another try, and a test."""

import uuid
from collections.abc import Mapping

from django.conf import settings
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext_lazy, ngettext

from training.models import Delivery
from training.services.reminders import failures, mail_server
from training.web.shared.opening import Opened, administered

#: What each kind of e-mail is called.
KINDS: Mapping[str, object] = {
    Delivery.Kind.REMINDER: gettext_lazy("Reminder"),
    Delivery.Kind.DIGEST: gettext_lazy("Daily summary"),
    Delivery.Kind.CHECKPOINT: gettext_lazy("Ledger checkpoint"),
    Delivery.Kind.NOTICE: gettext_lazy("Record changed"),
    Delivery.Kind.LINK: gettext_lazy("Link to set the password"),
    Delivery.Kind.ACCOUNT: gettext_lazy("Account changed"),
}


@administered("GET")
def listed(opened: Opened) -> HttpResponse:
    """How the school's e-mails do."""
    queue = failures.queue(opened.at, failures.of_school(opened.school))
    return opened.page(
        "mail",
        "mail",
        queue=queue,
        oldest=queue.oldest_seconds // 60,
        hours=queue.oldest_seconds // 3600,
        refused=settings.MAIL_REFUSED,
        parts=[
            {
                "name": state,
                "rows": [
                    {**each, "what": KINDS[each["kind"]]}
                    for each in failures.deliveries(opened.school, state)
                ],
            }
            for state in (Delivery.State.FAILED, Delivery.State.PENDING)
        ],
    )


@administered("POST")
def retry(opened: Opened, which: uuid.UUID | None = None) -> HttpResponse:
    """Send failed e-mails again: all, or one."""
    number = failures.retry(failures.of_school(opened.school), opened.at, which)
    said = ngettext("%(number)d e-mail will be sent again.", "%(number)d e-mails will be sent again.", number)
    return opened.done(said % {"number": number}, "school-mail")


@administered("POST")
def test(opened: Opened) -> HttpResponse:
    """Send a test to whoever asks, now: the one e-mail that a page waits for."""
    done = mail_server.try_for(opened.request, opened.user)
    (messages.success if done.accepted else messages.error)(opened.request, done.words)
    return redirect("school-mail", opened.school.slug)
