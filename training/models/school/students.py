"""A student."""

import uuid
from typing import Any

from django.db import models


class Student(models.Model):
    """One person's training at one school, the owner of a record.

    The account is optional: a child may be taught before having one. ``ref`` is in URLs, so that they neither
    count nor name students. After a change of school there is a new student, with the record imported.

    ``recorded_at`` is when name and birth date were first recorded; null if that was not stored yet. Earlier
    values follow from the changes that replaced them (``RecordChange``).

    The database changes ``version`` with every change of a row of the record (``models.versions``). A reader
    with several queries sees by it that all were of one state, and may cache results under it.
    ``lessons_version`` likewise changes with every lesson record of the student, draft or signed, with its
    signatures and its correction.
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
        """The database alone sets the versions: a value read earlier is never written back."""
        if not self._state.adding and given.get("update_fields") is None:
            drawn = ("id", "version", "lessons_version")
            given["update_fields"] = [
                each.name for each in self._meta.concrete_fields if each.name not in drawn
            ]
        super().save(**given)
