"""Signs each school's ledger once a day if it grew, and mails the checkpoint to the administrators.

A checkpoint is worth most outside this server (see the ledger); hence the mail.
"""

import datetime as dt
import logging

from django.core.exceptions import ImproperlyConfigured
from django.utils import translation
from django.utils.translation import gettext as _

from training.ledger.core import sealed
from training.ledger.models import Checkpoint, Head
from training.ledger.store import checkpoints
from training.models import Delivery, School
from training.services.reminders import recipients
from training.services.signing.seals import school_of

log = logging.getLogger(__name__)


def daily(at: dt.datetime) -> int:
    """Sign the ledgers that grew and were not yet signed on their day, and queue the mails; how many.

    A school whose ledger did not grow gets no mail, and none gets two a day. Call it outside a transaction.
    """
    made = 0
    for tree, size in Head.objects.filter(size__gt=0).values_list("tree", "size").order_by("tree"):
        school = school_of(tree)
        if school is None:
            continue
        newest, today = checkpoints.newest(tree), school.day(at)
        if newest is None or (newest.size != size and school.day(sealed.instant_of(newest.at)) != today):
            try:
                newest = checkpoints.issue(tree, at=at)
            except ImproperlyConfigured:
                log.warning("no signing key: the ledger of school %s is not signed", school.slug)
                return made
            made += 1
        _mail_once(school, newest, today, at)
    return made


def _mail_once(school: School, signed: Checkpoint, today: dt.date, at: dt.datetime) -> None:
    mails = Delivery.objects.filter(school=school, kind=Delivery.Kind.CHECKPOINT)
    last = mails.order_by("-created_at").first()
    key = f"checkpoint:{school.pk}:{signed.size}:{signed.kid}:"
    if last is not None and (last.key.startswith(key) or school.day(last.created_at) == today):
        return
    Delivery.objects.bulk_create(
        (
            Delivery(
                school=school,
                kind=Delivery.Kind.CHECKPOINT,
                key=f"{key}{one.user.pk}",
                user=one.user,
                text=_text(school, signed, one.language),
                send_after=one.from_then(at),
                created_at=at,
            )
            for one in recipients.administrators(school)
            if one.user is not None
        ),
        ignore_conflicts=True,
    )


def _text(school: School, signed: Checkpoint, language: str) -> str:
    """The text of the mail in the recipient's language; the statement itself is the same for everybody."""
    with translation.override(language):
        told = _(
            "The ledger of %(school)s has %(entries)s entries. Keep this e-mail. It shows whether "
            "any of them is changed later (python3 manage.py verify_ledger --against FILE, with the "
            "line below in FILE)."
        ) % {"school": school.name, "entries": signed.size}
        key = _("Signed %(at)s with the key %(key)s.") % {"at": signed.at, "key": signed.kid}
    return f"{told}\n\n{signed.token}\n\n{key}"
