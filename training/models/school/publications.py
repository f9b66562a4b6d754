"""Who published a version of a school's course."""

from django.db import models


class CoursePublication(models.Model):
    """A version was published by an administrator of its school. Written once, never edited.

    A version of the product's own course, or one published by the server's command line, has none.
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
