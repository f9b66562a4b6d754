"""Recipients of reminders, with their settings."""

import datetime as dt
import zoneinfo

from django.conf import settings
from django.db import models
from django.db.models import Q

from training.models.school.schools import School, check_time_zone

#: By default nobody gets e-mail at night (common practice).
QUIET_FROM, QUIET_UNTIL = dt.time(21), dt.time(7)


def languages() -> list[tuple[str, str]]:
    """The languages of mails and pages; a callable, so that another one needs no migration."""
    return list(settings.LANGUAGES)


class ReminderPreferences(models.Model):
    """A user's reminder settings. Users without a row get the defaults.

    Between ``quiet_from`` and ``quiet_until`` on the user's clock no e-mail is sent; the same time twice
    means no quiet hours.
    """

    user = models.OneToOneField(
        "training.User", on_delete=models.CASCADE, related_name="reminder_preferences"
    )
    time_zone = models.CharField(
        max_length=64, blank=True, validators=[check_time_zone], help_text="empty: the school's"
    )
    language = models.CharField(max_length=10, default="en", choices=languages)
    email = models.BooleanField("by e-mail", default=True)
    quiet_from = models.TimeField(default=QUIET_FROM)
    quiet_until = models.TimeField(default=QUIET_UNTIL)

    class Meta:
        verbose_name_plural = "reminder preferences"

    def __str__(self) -> str:
        return f"preferences of {self.user}"

    def zone(self, school: School) -> zoneinfo.ZoneInfo:
        return zoneinfo.ZoneInfo(self.time_zone or school.time_zone)


class Guardian(models.Model):
    """A minor's guardian, whom the school may write to because consent is on record.

    Nothing is sent before ``consent_on``, after ``consent_until``, once the student is of age, or if the
    birth date is unknown. With an account (``user``, given by an administrator) the guardian reads the
    student's record on the same days, and writes nothing.
    """

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.CASCADE, related_name="guardians")
    user = models.ForeignKey(
        "training.User",
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="guardianships",
        help_text="the account that may read the record while the consent holds and the student is a minor",
    )
    name = models.CharField(max_length=200)
    email = models.EmailField(max_length=254)
    time_zone = models.CharField(
        max_length=64, blank=True, validators=[check_time_zone], help_text="empty: the school's"
    )
    language = models.CharField(max_length=10, default="en", choices=languages)
    consent_on = models.DateField("consent given on")
    consent_until = models.DateField("consent holds through", null=True, blank=True)
    recorded_by = models.ForeignKey("training.User", on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["student", "email"], name="guardian_once_for_student"),
            models.CheckConstraint(
                condition=Q(consent_until__isnull=True) | Q(consent_until__gte=models.F("consent_on")),
                name="guardian_consent_does_not_end_before_it_starts",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name}, guardian of {self.student}"

    def consents(self, on: dt.date) -> bool:
        """Whether the consent is in force on a day."""
        return self.consent_on <= on and (self.consent_until is None or on <= self.consent_until)


class CalendarFeed(models.Model):
    """The secret link under which one user's calendar program reads expirations.

    Only the hash of the secret is stored; a user who lost it creates another. One feed for each user.
    """

    user = models.OneToOneField("training.User", on_delete=models.CASCADE, related_name="calendar_feed")
    token_hash = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField()
    read_at = models.DateTimeField("read last at", null=True, blank=True)

    def __str__(self) -> str:
        return f"calendar of {self.user}"
