"""A person who is taught."""

import uuid
from typing import Any

from django.db import models


class Student(models.Model):
    """One person's training at one school; whose record it is.

    The account is optional: a child may be taught before there is one. ``ref`` stands in addresses, so that
    they neither count students nor name them. A change of school is a new student there, with the record
    imported.

    ``recorded_at`` is when name and birth date were put on record first; null where that was before it was
    kept. What they were at an instant follows from the changes that replaced them (``RecordChange``).

    ``version`` is drawn anew by the database whenever a row of the record changes (``models.versions``). Who
    reads the record in several queries knows by it that they all saw one state, and may keep what was worked
    out from that state. ``lessons_version`` is drawn likewise with every lesson record of the student, draft
    or signed, with its signatures and its correction.
    """

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="students")
    ref = models.UUIDField("reference", default=uuid.uuid4, unique=True, editable=False)
    user = models.ForeignKey(
        "training.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="student_records"
    )
    name = models.TextField(blank=True)
    birth_date = models.DateField(null=True, blank=True)
    recorded_at = models.DateTimeField("put on record here at", null=True, blank=True, editable=False)
    training_model = models.CharField(
        "model normally trained in",
        max_length=60,
        blank=True,
        help_text="answers 'in which airplane?' where a question does not say, such as C172",
    )

    erased_at = models.DateTimeField(
        "record erased at", null=True, blank=True, editable=False, help_text="what was sealed says why"
    )
    version = models.UUIDField("state of the record", default=uuid.uuid4, editable=False)
    lessons_version = models.UUIDField("state of the lesson records", default=uuid.uuid4, editable=False)

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["school", "user"], name="student_once_for_user_and_school"),
        ]
        indexes = [models.Index(fields=["school", "name"], name="student_by_school_and_name")]

    def __str__(self) -> str:
        return self.name or f"student {self.ref}"

    def save(self, **given: Any) -> None:
        """A version is the database's to draw: one that was read before is never written back."""
        if not self._state.adding and given.get("update_fields") is None:
            drawn = ("id", "version", "lessons_version")
            given["update_fields"] = [
                each.name for each in self._meta.concrete_fields if each.name not in drawn
            ]
        super().save(**given)
