"""Flights and training device sessions, with their landings."""

import datetime
from itertools import combinations
from typing import Any

from django.db import models
from django.db.models import F, Q

from syllabus.engine.record.record import DEVICES, TIMES
from training.models.record.entries import Taught

NO_TIME = datetime.timedelta()
#: The clock times in order: first movement, takeoff, landing, at rest.
CLOCK = ("out", "off", "on", "in")


def logged() -> Any:
    """A time as logged, exact to the microsecond; null if none was, which is not zero."""
    return models.DurationField(null=True, blank=True)


class Flight(Taught):
    """One logbook entry: a flight, or a session in a training device.

    ``route`` is a list of waypoints as in the record document: an identifier, or a name with latitude and
    longitude. ``out_at``, ``off_at``, ``on_at`` and ``in_at`` are instants (first movement for flight,
    takeoff, landing, at rest after landing); the offsets keep the clock they were read from. The aircraft is
    as the entry names it; ``aircraft`` links the school's own if it is one.
    """

    date = models.DateField()
    trip = models.TextField(null=True, blank=True)  # noqa: DJ001
    aircraft_registration = models.TextField(null=True, blank=True)  # noqa: DJ001
    aircraft_model = models.TextField(null=True, blank=True)  # noqa: DJ001
    aircraft_category = models.TextField(null=True, blank=True)  # noqa: DJ001
    aircraft_class = models.TextField(null=True, blank=True)  # noqa: DJ001
    aircraft_device = models.TextField(null=True, blank=True)  # noqa: DJ001
    aircraft = models.ForeignKey(
        "training.Aircraft", on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    route = models.JSONField(default=list, blank=True)
    out_at = models.DateTimeField(null=True, blank=True)
    out_offset = models.DurationField(null=True, blank=True)
    off_at = models.DateTimeField(null=True, blank=True)
    off_offset = models.DurationField(null=True, blank=True)
    on_at = models.DateTimeField(null=True, blank=True)
    on_offset = models.DurationField(null=True, blank=True)
    in_at = models.DateTimeField(null=True, blank=True)
    in_offset = models.DurationField(null=True, blank=True)

    total = logged()
    dual = logged()
    solo = logged()
    pic = logged()
    cross_country = logged()
    night = logged()
    actual_instrument = logged()
    simulated_instrument = logged()

    purposes = models.JSONField(default=list, blank=True)
    remarks = models.TextField(blank=True)

    class Meta(Taught.Meta):
        ordering = ["date", "off_at", "entry_id"]
        # Every sign-off queries the flights of a day and the flights at a time: without these indexes it
        # would
        # read all of the school's flights.
        indexes = [
            models.Index(
                fields=["school", name],
                condition=Q(retired_at__isnull=True),
                name=f"flight_on_record_by_{name}",
            )
            for name in ("date", "on_at")
        ]
        constraints = [
            *Taught.Meta.constraints,
            *(
                models.CheckConstraint(
                    condition=Q(**{f"{name}__isnull": True}) | Q(**{f"{name}__gte": NO_TIME}),
                    name=f"flight_{name}_not_below_zero",
                )
                for name in TIMES
            ),
            # Solo is as sole occupant, dual with an instructor: a day with both is two entries.
            models.CheckConstraint(
                condition=~Q(dual__gt=NO_TIME, solo__gt=NO_TIME),
                name="flight_not_both_dual_and_solo",
            ),
            models.CheckConstraint(
                condition=Q(aircraft_device__isnull=True) | Q(aircraft_device__in=DEVICES),
                name="flight_device_is_known",
            ),
            *(
                models.CheckConstraint(
                    condition=Q(**{f"{name}_at__isnull": True, f"{name}_offset__isnull": True})
                    | Q(**{f"{name}_at__isnull": False, f"{name}_offset__isnull": False}),
                    name=f"flight_{name}_with_offset",
                )
                for name in CLOCK
            ),
            *(
                models.CheckConstraint(
                    condition=Q(**{f"{before}_at__isnull": True})
                    | Q(**{f"{after}_at__isnull": True})
                    | Q(**{f"{after}_at__gte": F(f"{before}_at")}),
                    name=f"flight_not_{after}_before_{before}",
                )
                for before, after in combinations(CLOCK, 2)
            ),
        ]


class Landing(models.Model):
    """Takeoffs and landings of one flight at one place with the same properties; null means not entered.

    They are retired with their flight, and have its retirement too: a query that joined the two took
    quadratic time while the database had no statistics yet, as after an import.
    """

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.PROTECT, related_name="landing_set")
    flight = models.ForeignKey(Flight, on_delete=models.PROTECT, related_name="landings")
    retired_at = models.DateTimeField("changed or taken out at", null=True, blank=True)
    position = models.PositiveSmallIntegerField(help_text="counts from 0 in the order of the entry")
    at = models.JSONField("place", null=True, blank=True, help_text="a point as in a route")
    takeoffs = models.PositiveIntegerField(default=0)
    landings = models.PositiveIntegerField(default=0)
    period = models.CharField(max_length=5, null=True, blank=True)  # noqa: DJ001
    full_stop = models.BooleanField(null=True, blank=True)
    pattern = models.BooleanField(null=True, blank=True)
    towered = models.BooleanField(null=True, blank=True)

    class Meta:
        ordering = ["flight", "position"]
        indexes = [
            models.Index(
                fields=["student"], condition=Q(retired_at__isnull=True), name="landing_on_record_by_student"
            ),
        ]
        constraints = [
            models.UniqueConstraint(fields=["flight", "position"], name="landing_in_order"),
            models.CheckConstraint(
                condition=Q(period__isnull=True) | Q(period__in=["day", "night"]),
                name="landing_period_is_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.takeoffs} takeoffs, {self.landings} landings at {self.at}"
