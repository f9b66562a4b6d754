"""A school's requirements beyond the law, such as an insurer's hours."""

from typing import Any

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q

from syllabus.engine.course.course import CODE as IS_CODE
from syllabus.engine.rules.minimums import Minimum, as_requirement, read_params
from syllabus.engine.rules.rulebook import Requirement
from syllabus.law import rulebook
from syllabus.models.courses import CODE


class SchoolMinimum(models.Model):
    """A school's own requirement, added to a milestone; shown as the school's, never as law.

    ``params`` are those of a kind of requirement in the regulation data, checked by the same readers:
    ``{"counts": ["dual"], "need": "25 h"}``. It is in force from ``starts`` through ``ends``.
    """

    school_ref = models.SlugField(max_length=60)
    milestone = models.CharField(max_length=CODE)
    code = models.CharField(max_length=CODE)
    kind = models.CharField(max_length=60)
    params = models.JSONField(default=dict)
    says = models.TextField()
    note = models.TextField(blank=True)
    starts = models.DateField("first day")
    ends = models.DateField("last day", null=True, blank=True)

    class Meta:
        ordering = ["school_ref", "milestone", "code", "starts"]
        constraints = [
            models.UniqueConstraint(
                fields=["school_ref", "milestone", "code", "starts"], name="schoolminimum_once"
            ),
            models.CheckConstraint(
                condition=Q(ends__isnull=True) | Q(ends__gte=F("starts")),
                name="schoolminimum_does_not_end_before_it_starts",
            ),
        ]

    def __str__(self) -> str:
        return self.says

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.full_clean()
        super().save(*args, **kwargs)

    def as_minimum(self) -> Minimum:
        return Minimum(self.code, self.kind, self.params, self.says, self.note)

    def as_requirement(self) -> Requirement:
        """As the engine takes it, with words that name the school."""
        return as_requirement(self.as_minimum(), self.milestone, "school", self.starts, self.ends)

    def clean(self) -> None:
        """Raises: ValidationError, by field, with the messages of the regulation data."""
        wrong: dict[str, list[str]] = {}
        known = rulebook.current().milestones
        if self.milestone not in known:
            wrong["milestone"] = [f"there is no milestone {self.milestone!r}; use one of {', '.join(known)}"]
        if not IS_CODE.fullmatch(self.code):
            wrong["code"] = [
                f"{self.code!r} is not a code: lowercase letters and digits, separated by hyphens"
            ]
        if not isinstance(self.params, dict):
            wrong["params"] = [f"{self.params!r} is not a mapping of parameters to values"]
        else:
            for error in read_params(self.kind, self.params)[1]:
                wrong.setdefault("kind" if error.place == "kind" else "params", []).append(error.message)
        others = SchoolMinimum.objects.filter(
            Q(ends__isnull=True) | Q(ends__gte=self.starts),
            school_ref=self.school_ref, milestone=self.milestone, code=self.code,
        ).exclude(pk=self.pk)  # fmt: skip
        if self.ends is not None:
            others = others.filter(starts__lte=self.ends)
        if other := others.first():
            wrong["starts"] = [
                f"another version of {self.code} is in force from {other.starts}"
                + (f" to {other.ends}" if other.ends else "")
                + "; one must end before the other starts"
            ]
        if wrong:
            raise ValidationError(wrong)
