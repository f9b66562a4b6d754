"""A school's aircraft and training devices."""

from django.db import models

from syllabus.engine.record.record import DEVICES


class Aircraft(models.Model):
    """One aircraft or device of the school. Entries keep their own words; this lists the fleet."""

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="aircraft")
    registration = models.CharField(max_length=40)
    model = models.CharField(max_length=60, help_text="make and model as entries name it, such as C172")
    category = models.CharField(max_length=40, default="airplane")
    klass = models.CharField("class", max_length=60, db_column="class", default="single-engine land")
    device = models.CharField(
        max_length=10,
        blank=True,
        choices=[(name, name) for name in DEVICES],
        help_text="empty for an aircraft",
    )

    class Meta:
        verbose_name_plural = "aircraft"
        ordering = ["registration"]
        constraints = [
            models.UniqueConstraint(fields=["school", "registration"], name="aircraft_once_for_school"),
            models.CheckConstraint(
                condition=models.Q(device__in=["", *DEVICES]), name="aircraft_device_is_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.registration} ({self.model})"


class AircraftCheck(models.Model):
    """An inspection that was done, or a document that was issued: its kind and day. Never edited.

    For each kind the newest counts, so a mistake is corrected by adding another row. The kinds and their
    periods are data (``syllabus.law.airworthiness``); hours in service are not recorded here.
    """

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    aircraft = models.ForeignKey(Aircraft, on_delete=models.PROTECT, related_name="checks")
    kind = models.CharField(max_length=40)
    done = models.DateField("done or issued on")
    expires = models.DateField(
        null=True, blank=True, help_text="the last day that is written on it; it only shortens"
    )
    recorded_at = models.DateTimeField()
    by = models.ForeignKey("training.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(expires__isnull=True) | models.Q(expires__gte=models.F("done")),
                name="aircraftcheck_ends_after_it_was_done",
            ),
        ]
        indexes = [
            models.Index(fields=["school", "aircraft", "kind", "-id"], name="aircraftcheck_newest"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} of {self.aircraft} on {self.done}"


class Grounding(models.Model):
    """Why an aircraft may not be flown, or an open defect. Never edited: it ends once, with a reason."""

    class Kind(models.TextChoices):
        GROUNDED = "grounded"
        DEFECT = "defect"

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    aircraft = models.ForeignKey(Aircraft, on_delete=models.PROTECT, related_name="groundings")
    kind = models.CharField(max_length=10, choices=Kind.choices)
    reason = models.TextField()
    at = models.DateTimeField()
    by = models.ForeignKey("training.User", on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(
        "training.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    ended_reason = models.TextField(blank=True)

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=~models.Q(reason=""), name="grounding_has_a_reason"),
            models.CheckConstraint(
                condition=models.Q(ended_at__isnull=True, ended_by__isnull=True, ended_reason="")
                | models.Q(ended_at__gte=models.F("at"), ended_by__isnull=False) & ~models.Q(ended_reason=""),
                name="grounding_ends_later_with_a_reason",
            ),
        ]
        indexes = [
            models.Index(
                fields=["aircraft"], condition=models.Q(ended_at__isnull=True), name="grounding_open"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.aircraft}: {self.kind}, {self.reason}"
