"""Days and times of day as pages, e-mails and PDFs write them."""

from datetime import date, datetime, tzinfo
from functools import lru_cache

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import get_language, gettext, ngettext


def day(when: date | None) -> str:
    """A day as people write it in the language of the page: ``5 Jul 2026``."""
    return "" if when is None else _day(when, get_language())


@lru_cache(maxsize=4096)
def _day(when: date, language: str | None) -> str:
    return date_format(when, "DATE_FORMAT")


def expiring(last: date, on: date) -> str:
    """The last day of something with the days to go; more than a year ahead only the day."""
    left = (last - on).days
    said = {"day": day(last), "left": left}
    if left > 366:
        return day(last)
    if left == 0:
        return gettext("%(day)s, today is the last day") % said
    if left == 1:
        return gettext("%(day)s, tomorrow is the last day") % said
    return ngettext("%(day)s, %(left)d day to go", "%(day)s, %(left)d days to go", left) % said


def clock(at: datetime, zone: tzinfo | None = None) -> str:
    """A time of day with the short name of its zone, or of the reader's: ``14:05 CST``."""
    return f"{timezone.localtime(at, zone):%H:%M %Z}"


def instant(at: datetime, zone: tzinfo) -> str:
    """A day and time of day with its zone, as pages and e-mails write it: ``5 Jul 2026, 14:05 CST``."""
    here = timezone.localtime(at, zone)
    return gettext("%(day)s, %(time)s") % {"day": day(here.date()), "time": clock(at, zone)}


def moment(at: datetime, zone: tzinfo) -> str:
    """A day and time of day as a printed record has it: ``2026-07-05 14:05 CST``."""
    return f"{timezone.localtime(at, zone):%Y-%m-%d %H:%M %Z}"
