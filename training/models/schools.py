"""A flight school: what every other row belongs to."""

import datetime as dt
import zoneinfo

from django.core.exceptions import ValidationError
from django.db import models


def check_time_zone(name: str) -> None:
    """Refuse what the time zone database does not know."""
    try:
        zoneinfo.ZoneInfo(name)
    except (ValueError, OSError, zoneinfo.ZoneInfoNotFoundError) as fault:
        raise ValidationError(
            f"{name!r} is no time zone; write its name in the time zone database, such as America/Chicago."
        ) from fault


class School(models.Model):
    """A school, or one instructor who teaches alone. Nothing is ever visible across two schools.

    ``rules_version`` is drawn anew by the database whenever a minimum of the school's own changes
    (``models.versions``), so that no report kept outlives the rules it was asked by; null where it never had
    one.
    """

    name = models.CharField(max_length=200)
    slug = models.SlugField(max_length=60, unique=True, help_text="short name used in addresses and commands")
    time_zone = models.CharField(
        max_length=64,
        default="UTC",
        validators=[check_time_zone],
        help_text="decides which day 'today' is at the school",
    )
    of_age_at = models.PositiveSmallIntegerField(
        "age of majority",
        default=18,
        help_text="years; until then a guardian with consent on record is told too. From memory: 18 in most "
        "states of the USA, 19 in Alabama and Nebraska, 21 in Mississippi",
    )
    late_after_days = models.PositiveSmallIntegerField(
        "a sign-off is late after",
        null=True,
        blank=True,
        help_text="days between a lesson and its sign-off, past which it is signed with a warning; empty: "
        "none. No regulation has such a number",
    )
    rules_version = models.UUIDField("state of the school's own minimums", null=True, editable=False)
    is_demo = models.BooleanField(
        default=False, help_text="an invented school, replaced whenever the demo is loaded"
    )

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    @property
    def course_ref(self) -> str:
        """What the school's own courses and minimums name it by (``school_ref`` there): its short name."""
        return self.slug

    def day(self, at: dt.datetime) -> dt.date:
        """Which day it is at the school at an instant."""
        return at.astimezone(zoneinfo.ZoneInfo(self.time_zone)).date()
