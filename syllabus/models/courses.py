"""A course and its versions. A draft may be changed; once published a version stays as it is for good.

Rows of a version are guarded twice: here, with a sentence for a person, and by the triggers of
``syllabus.models.freezing``, which hold whoever writes and however.
"""

from __future__ import annotations

import uuid
from typing import Any

from django.db import models
from django.db.models import Q

DRAFT, PUBLISHED = "draft", "published"
CODE = 80


class NotADraft(Exception):
    """A row of a published version was to be changed, added or deleted; ``str()`` is fit for a person."""


class Course(models.Model):
    """A course by its code, in versions.

    ``school_ref`` is the short name of the school it belongs to; null for one that comes with the product,
    which every school may use. It is no foreign key: what is required knows nothing of who trains.
    """

    ref = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    school_ref = models.SlugField(max_length=60, null=True, blank=True)  # noqa: DJ001
    code = models.CharField(max_length=CODE)

    class Meta:
        ordering = ["code", "school_ref"]
        constraints = [
            models.UniqueConstraint(fields=["school_ref", "code"], name="course_once_in_a_school"),
            # Where there is no school, nulls would count as different from each other.
            models.UniqueConstraint(
                fields=["code"], condition=Q(school_ref__isnull=True), name="course_once_in_the_product"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} ({self.school_ref or 'comes with the product'})"


class Drafted(models.Model):
    """A row that belongs to one version, and may change only while that is a draft.

    ``VERSION`` is the way to the version, as in a query.
    """

    VERSION: str

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.its_version().still_a_draft()
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        self.its_version().still_a_draft()
        return super().delete(*args, **kwargs)

    def its_version(self) -> CourseVersion:
        found: Any = self
        for step in self.VERSION.split("__"):
            found = getattr(found, step)
        assert isinstance(found, CourseVersion)
        return found


class CourseVersion(models.Model):
    """One version of a course, numbered from 1; enrolments hold on to the one they began with.

    ``content_hash`` is that of the text which ``export_course`` writes of it.
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

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.still_a_draft()
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        self.still_a_draft()
        return super().delete(*args, **kwargs)

    @property
    def is_published(self) -> bool:
        return self.state == PUBLISHED

    def still_a_draft(self) -> None:
        """Raises: NotADraft where the database has this version as published."""
        stands = CourseVersion.objects.filter(pk=self.pk).values_list("state", flat=True).first()
        if stands == PUBLISHED:
            raise NotADraft(
                f"{self} is published and stays as it is; make a new version with the change,"
                " and enrolments may move to that."
            )


class Positioned(Drafted):
    """A row with its place in an order, counted from 0."""

    position = models.PositiveIntegerField()

    class Meta:
        abstract = True
        ordering = ["position"]


class Stage(Positioned):
    VERSION = "version"

    version = models.ForeignKey(CourseVersion, on_delete=models.CASCADE, related_name="stages")
    code = models.CharField(max_length=CODE)
    title = models.CharField(max_length=200)
    objective = models.TextField()
    completion = models.TextField("completion standard")

    class Meta(Positioned.Meta):
        constraints = [
            models.UniqueConstraint(fields=["version", "code"], name="stage_code_once"),
            models.UniqueConstraint(fields=["version", "position"], name="stage_position_once"),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.title}"


class CourseMinimum(Positioned):
    """What a course asks for beyond the law; ``params`` as regulation data has them."""

    VERSION = "version"

    version = models.ForeignKey(CourseVersion, on_delete=models.CASCADE, related_name="minimums")
    code = models.CharField(max_length=CODE)
    kind = models.CharField(max_length=60)
    params = models.JSONField(default=dict)
    says = models.TextField()
    note = models.TextField(blank=True)

    class Meta(Positioned.Meta):
        constraints = [
            models.UniqueConstraint(fields=["version", "code"], name="courseminimum_code_once"),
        ]

    def __str__(self) -> str:
        return self.says
