"""The log of published versions of a school's courses."""

from django.db import models


class CoursePublication(models.Model):
    """An administrator of the school published a version. Written once, never edited.

    Built-in courses, and versions published on the command line, have none.
    """

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    version = models.OneToOneField(
        "syllabus.CourseVersion", on_delete=models.PROTECT, related_name="publication"
    )
    by = models.ForeignKey("training.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["at", "pk"]

    def __str__(self) -> str:
        return f"{self.version}, published by {self.by}"
