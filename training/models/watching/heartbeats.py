"""Heartbeats of background jobs."""

from django.db import models


class Heartbeat(models.Model):
    """When a background job was last done; one row per job, of no school."""

    name = models.CharField(primary_key=True, max_length=50)
    at = models.DateTimeField()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return f"{self.name}: {self.at:%Y-%m-%d %H:%M:%S}"
