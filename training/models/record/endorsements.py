"""Endorsements that instructors gave."""

from django.db import models

from training.models.record.entries import Taught


class Endorsement(Taught):
    """An endorsement as in the logbook. Places and routes are waypoints as in a flight's route."""

    kind = models.TextField()
    given = models.DateField()
    aircraft_model = models.TextField(null=True, blank=True)  # noqa: DJ001
    category = models.TextField(null=True, blank=True)  # noqa: DJ001
    klass = models.TextField("class", null=True, blank=True, db_column="class")  # noqa: DJ001
    test = models.TextField(null=True, blank=True)  # noqa: DJ001
    similar_model = models.TextField(null=True, blank=True)  # noqa: DJ001
    airport = models.JSONField(null=True, blank=True)
    area = models.TextField(null=True, blank=True)  # noqa: DJ001
    route = models.JSONField(default=list, blank=True)
    flight_date = models.DateField(null=True, blank=True)
    training_date = models.DateField(null=True, blank=True)
    expires = models.DateField(null=True, blank=True, help_text="only ever shortens what the rule gives")
    conditions = models.TextField(blank=True)
    limits = models.JSONField(null=True, blank=True, help_text="limits of solo flight, as quantities")
    ended_by = models.OneToOneField(
        "training.Revocation",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        editable=False,
        related_name="successor",
        help_text="the revocation that put this row in the place of the one it ends",
    )

    class Meta(Taught.Meta):
        ordering = ["given", "entry_id"]
