"""Which spellings of a make and model a school takes for one, beside those that are shipped."""

from django.db import models
from django.db.models import F, Q


class ModelSpelling(models.Model):
    """One spelling that means one model at a school: ``C172 Skyhawk II`` means ``C172``.

    Where ``spelling`` is ``model`` itself, the row is a model that the school added, and it alone may carry
    category and class. ``folded`` is the form in which spellings are compared
    (``syllabus.engine.rules.aircraft_models.folded``).
    """

    school = models.ForeignKey("training.School", on_delete=models.CASCADE, related_name="model_spellings")
    spelling = models.CharField(max_length=200)
    folded = models.CharField(max_length=200, editable=False)
    model = models.CharField("make and model", max_length=200)
    category = models.CharField(max_length=40, blank=True)
    klass = models.CharField("class", max_length=60, db_column="class", blank=True)

    class Meta:
        ordering = ["model", "spelling"]
        constraints = [
            models.UniqueConstraint(fields=["school", "folded"], name="modelspelling_once_for_school"),
            models.CheckConstraint(condition=~Q(folded=""), name="modelspelling_is_not_blank"),
            models.CheckConstraint(
                condition=Q(spelling=F("model")) | Q(category="", klass=""),
                name="modelspelling_class_is_the_models",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.spelling}: {self.model}"
