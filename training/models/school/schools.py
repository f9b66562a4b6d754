"""A flight school, to which every other row belongs."""

import datetime as dt
import zoneinfo
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Value

from syllabus.engine.record.limits import LimitsError, read_limits
from syllabus.engine.rules.settings import TAXI_ALLOWANCE
from syllabus.engine.time.units import MINUTE

#: The lists of a record whose claimed entries can make an answer unknown.
CLAIMABLE = ("endorsements", "tests", "documents", "flights", "items", "certificates")
#: Those that do by default.
CLAIMS_ASKED = ("endorsements", "tests", "documents", "certificates")
TAXI_ALLOWANCE_MINUTES = TAXI_ALLOWANCE // MINUTE
MOST_TAXI_MINUTES = 240
#: The hours that a solo release lasts where a school never chose, and the most that it may choose.
RELEASE_HOURS, MOST_RELEASE_HOURS = 2, 12
#: The roles for which a school may require a second factor, and those for which it does unless it chooses.
FACTOR_ROLES = ("administrator", "instructor", "student")
FACTOR_REQUIRED = ("administrator",)


def check_time_zone(name: str) -> None:
    """Refuse an unknown time zone."""
    try:
        zoneinfo.ZoneInfo(name)
    except (ValueError, OSError, zoneinfo.ZoneInfoNotFoundError) as fault:
        raise ValidationError(
            f"{name!r} is not a time zone; write its name in the time zone database, such as America/Chicago."
        ) from fault


def claims_asked() -> list[str]:
    """The default of ``claims_asked``."""
    return list(CLAIMS_ASKED)


def check_claims_asked(chosen: object) -> None:
    """Refuse anything but different lists of a record."""
    if not isinstance(chosen, list):
        raise ValidationError("is not a list; name lists of a record.")
    if unknown := [each for each in chosen if each not in CLAIMABLE]:
        raise ValidationError(
            f"{unknown[0]!r} is not a list whose claimed entries can be chosen; use one of"
            f" {', '.join(CLAIMABLE)}."
        )
    if len(set(chosen)) < len(chosen):
        raise ValidationError("names a list twice; name each once.")


def second_factor_for() -> list[str]:
    """The roles that need a second factor at a school that never chose."""
    return list(FACTOR_REQUIRED)


def check_release_limits(value: Any) -> None:
    """Refuse limits that cannot be read, with every error."""
    try:
        read_limits(value)
    except LimitsError as wrong:
        raise ValidationError([str(each) for each in wrong.errors]) from None


def check_second_factor_for(chosen: object) -> None:
    """Refuse what is no choice among the roles, each once."""
    if not isinstance(chosen, list) or not set(map(str, chosen)) <= set(FACTOR_ROLES):
        raise ValidationError(f"is not a list of roles; use {', '.join(FACTOR_ROLES)}.")
    if len(set(chosen)) < len(chosen):
        raise ValidationError("names a role twice; name each once.")


class School(models.Model):
    """A school, or one instructor who teaches alone. Nothing is ever visible across schools.

    The database changes ``rules_version`` with every change of a minimum, of a setting that answers depend on
    (``claims_asked``, ``taxi_allowance_minutes``) or of a linked spelling (``models.versions``), so that no
    cached report outlives its rules; null if none of them ever changed.
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
    part_141 = models.BooleanField(
        "certificated pilot school",
        null=True,
        blank=True,
        help_text="whether the school holds a pilot school certificate; empty: not recorded, and its rules "
        "on keeping records are asked",
    )
    claims_asked = models.JSONField(
        "claimed entries are asked about",
        default=claims_asked,
        db_default=Value(list(CLAIMS_ASKED), models.JSONField()),
        blank=True,
        validators=[check_claims_asked],
        help_text="lists of a record whose entries raise a question while nobody vouches for them",
    )
    taxi_allowance_minutes = models.PositiveSmallIntegerField(
        "taxi allowance",
        default=TAXI_ALLOWANCE_MINUTES,
        db_default=TAXI_ALLOWANCE_MINUTES,
        validators=[MaxValueValidator(MOST_TAXI_MINUTES)],
        help_text="minutes on the ground beside the time between takeoff and landing, past which a logged"
        " total is asked about; common practice, no regulation has such a number",
    )
    release_hours = models.PositiveSmallIntegerField(
        "hours that a solo release lasts",
        default=RELEASE_HOURS,
        db_default=RELEASE_HOURS,
        validators=[MinValueValidator(1), MaxValueValidator(MOST_RELEASE_HOURS)],
        help_text="the most; it ends earlier with an endorsement, the daylight or the weather it was checked"
        " with. The school's own limit, no regulation's",
    )
    release_limits = models.JSONField(
        "limits of every solo flight",
        default=dict,
        db_default=Value({}, models.JSONField()),
        blank=True,
        validators=[check_release_limits],
        help_text="the school's own, beside those that an instructor puts into an endorsement",
    )
    second_factor_for = models.JSONField(
        "second factor required for",
        default=second_factor_for,
        db_default=Value(list(FACTOR_REQUIRED), models.JSONField()),
        blank=True,
        validators=[check_second_factor_for],
        help_text="roles whose holders must have a passkey or an authenticator app",
    )
    rules_version = models.UUIDField("state of the school's own rules", null=True, editable=False)
    is_demo = models.BooleanField(
        default=False, help_text="an invented school, replaced whenever the demo is loaded"
    )

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    def save(self, **given: Any) -> None:
        """The database alone sets the version of the rules: a value read earlier is never written back."""
        if not self._state.adding and given.get("update_fields") is None:
            drawn = ("id", "rules_version")
            given["update_fields"] = [
                each.name for each in self._meta.concrete_fields if each.name not in drawn
            ]
        super().save(**given)

    @property
    def course_ref(self) -> str:
        """The name of the school in courses and minimums (``school_ref`` there): its short name."""
        return self.slug

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        return zoneinfo.ZoneInfo(self.time_zone)

    def day(self, at: dt.datetime) -> dt.date:
        """The day at the school at an instant."""
        return at.astimezone(self.zone).date()
