"""Courses and their versions. A draft may change; a published version never does.

The rows of a version are guarded twice: here, with a message for people, and by the triggers of
``training.triggers.courses``, which apply to every writer.
"""

import json
import uuid
from typing import Any

from django.db import models
from django.db.models import Q

DRAFT, PUBLISHED = "draft", "published"
CODE = 80


class NotADraft(Exception):
    """A row of a published version cannot be changed, added or deleted; ``str()`` is fit for a person."""


class Course(models.Model):
    """A course by its code, in versions.

    ``school_ref`` is the short name of its school; null for a built-in one, which every school may use. It is
    no foreign key, because the syllabus knows nothing of the school's tables.
    """

    ref = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    school_ref = models.SlugField(max_length=60, null=True, blank=True)  # noqa: DJ001
    code = models.CharField(max_length=CODE)

    class Meta:
        ordering = ["code", "school_ref"]
        constraints = [
            models.UniqueConstraint(fields=["school_ref", "code"], name="course_once_in_a_school"),
            # Without a school, nulls would count as different from each other.
            models.UniqueConstraint(
                fields=["code"], condition=Q(school_ref__isnull=True), name="course_once_in_the_product"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} ({self.school_ref or 'comes with the product'})"


class Drafted(models.Model):
    """A row that may change only while its version is a draft."""

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.still_a_draft()
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        self.still_a_draft()
        return super().delete(*args, **kwargs)

    def still_a_draft(self) -> None:
        """Raises: NotADraft if the version is published in the database."""
        raise NotImplementedError


class CourseVersion(Drafted):
    """One version of a course, numbered from 1; enrollments stay on theirs.

    ``content_hash`` is that of the text that ``export_course`` writes of it.
    """

    course = models.ForeignKey(Course, on_delete=models.CASCADE, related_name="versions")
    number = models.PositiveIntegerField()
    state = models.CharField(max_length=10, choices=[(DRAFT, DRAFT), (PUBLISHED, PUBLISHED)], default=DRAFT)
    published_at = models.DateTimeField(null=True, blank=True)
    content_hash = models.CharField(max_length=80)
    title = models.CharField(max_length=200)
    says = models.TextField()

    class Meta:
        ordering = ["course", "number"]
        constraints = [
            models.UniqueConstraint(fields=["course", "number"], name="courseversion_number_once"),
            models.UniqueConstraint(
                fields=["course"], condition=Q(state=DRAFT), name="courseversion_one_draft_at_a_time"
            ),
            models.CheckConstraint(condition=Q(number__gte=1), name="courseversion_number_from_1"),
            models.CheckConstraint(
                condition=Q(state=DRAFT, published_at__isnull=True)
                | Q(state=PUBLISHED, published_at__isnull=False),
                name="courseversion_published_has_its_instant",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.course.code} version {self.number}"

    @property
    def is_published(self) -> bool:
        return self.state == PUBLISHED

    def still_a_draft(self) -> None:
        stands = CourseVersion.objects.filter(pk=self.pk).values_list("state", flat=True).first()
        if stands == PUBLISHED:
            raise NotADraft(
                f"{self} is published and stays as it is; make a new version with the change,"
                " and enrollments may move to that."
            )


class OrderedJSONField(models.JSONField):
    """JSON that keeps the order of its keys; ``jsonb`` would sort them."""

    def db_type(self, connection: Any) -> str | None:
        return "json" if connection.vendor == "postgresql" else super().db_type(connection)

    def get_db_prep_value(self, value: Any, connection: Any, prepared: bool = False) -> Any:
        return json.dumps(value, ensure_ascii=False)

    def from_db_value(self, value: Any, expression: Any, connection: Any) -> Any:
        return json.loads(value) if isinstance(value, str) else value


class CourseParts(Drafted):
    """The minimums, stages and items of a version in the form of its file: one document, only read whole.

    A table of its own, because many lists read versions and none needs the parts. The order of a lesson's
    items counts: it is the order of teaching, and the version's hash depends on it.
    """

    version = models.OneToOneField(
        CourseVersion, on_delete=models.CASCADE, primary_key=True, related_name="parts"
    )
    document = OrderedJSONField()

    def __str__(self) -> str:
        return f"the parts of {self.version}"

    def still_a_draft(self) -> None:
        self.version.still_a_draft()
