"""What is learned: items, the quantities of their standard, what they build on and what they prove."""

from __future__ import annotations

from decimal import Decimal

from django.db import models
from django.db.models import F, Q

from syllabus.engine.course.course import FLIGHT, ITEM_KINDS
from syllabus.engine.course.standards import BASES, NAMED, QUANTITIES, RANGE, TARGETS, TEST_STANDARD, VALUE
from syllabus.engine.rules.rulebook import VERIFIED
from syllabus.models.courses import CODE, CourseVersion, Positioned


class Item(Positioned):
    """One thing to learn; its task, where it has one, by document, revision and code."""

    VERSION = "version"

    version = models.ForeignKey(CourseVersion, on_delete=models.CASCADE, related_name="items")
    code = models.CharField(max_length=CODE)
    title = models.CharField(max_length=200)
    objective = models.TextField()
    kind = models.CharField(max_length=20, default=FLIGHT)
    task_document = models.CharField(max_length=40, blank=True)
    task_revision = models.CharField(max_length=10, blank=True)
    task_code = models.CharField(max_length=40, blank=True)

    class Meta(Positioned.Meta):
        constraints = [
            models.UniqueConstraint(fields=["version", "code"], name="item_code_once"),
            models.UniqueConstraint(fields=["version", "position"], name="item_position_once"),
            models.CheckConstraint(condition=Q(kind__in=ITEM_KINDS), name="item_kind_is_known"),
            models.CheckConstraint(
                condition=Q(task_document="", task_revision="", task_code="")
                | (~Q(task_document="") & ~Q(task_revision="") & ~Q(task_code="")),
                name="item_task_is_whole",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.title}"


def _decimal() -> models.DecimalField[Decimal | None, Decimal | None]:
    return models.DecimalField(max_digits=15, decimal_places=6, null=True, blank=True)


class StandardTolerance(Positioned):
    """How far from its target one quantity may be, in the unit of the quantity (``engine.standards``)."""

    VERSION = "item__version"

    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="standard")
    name = models.CharField(max_length=200)
    quantity = models.CharField(max_length=20)
    target = models.CharField(max_length=10)
    target_value = _decimal()
    target_name = models.CharField(max_length=200, blank=True)
    low = _decimal()
    high = _decimal()
    low_inclusive = models.BooleanField(default=True)
    high_inclusive = models.BooleanField(default=True)
    basis = models.CharField(max_length=20, default=TEST_STANDARD)
    source = models.TextField()
    verified = models.CharField(max_length=20)
    note = models.TextField(blank=True)

    class Meta(Positioned.Meta):
        constraints = [
            models.UniqueConstraint(fields=["item", "name"], name="tolerance_name_once"),
            models.CheckConstraint(
                condition=Q(quantity__in=list(QUANTITIES)), name="tolerance_quantity_is_known"
            ),
            models.CheckConstraint(condition=Q(target__in=TARGETS), name="tolerance_target_is_known"),
            models.CheckConstraint(condition=Q(basis__in=BASES), name="tolerance_basis_is_known"),
            models.CheckConstraint(condition=Q(verified__in=VERIFIED), name="tolerance_verified_is_known"),
            models.CheckConstraint(
                condition=Q(target=VALUE, target_value__isnull=False)
                | (~Q(target=VALUE) & Q(target_value__isnull=True)),
                name="tolerance_value_where_it_has_one",
            ),
            models.CheckConstraint(
                condition=~Q(target=NAMED, target_name="") & ~Q(target=RANGE, low=None, high=None),
                name="tolerance_target_is_whole",
            ),
            models.CheckConstraint(
                condition=Q(low__isnull=True) | Q(high__isnull=True) | Q(low__lte=F("high")),
                name="tolerance_low_not_above_high",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Prerequisite(Positioned):
    """``item`` builds on ``needs``, an item of the same version."""

    VERSION = "item__version"

    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="prerequisites")
    needs = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="leads_to")

    class Meta(Positioned.Meta):
        constraints = [
            models.UniqueConstraint(fields=["item", "needs"], name="prerequisite_once"),
            models.CheckConstraint(condition=~Q(item=F("needs")), name="prerequisite_is_another_item"),
        ]

    def __str__(self) -> str:
        return f"{self.item} after {self.needs}"


class Proof(Positioned):
    """A grade of ``item`` counts toward an item that a rule asks for, such as ``presolo.d-10``."""

    VERSION = "item__version"

    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="proofs")
    proves = models.CharField(max_length=CODE)

    class Meta(Positioned.Meta):
        constraints = [models.UniqueConstraint(fields=["item", "proves"], name="proof_once")]

    def __str__(self) -> str:
        return f"{self.item} proves {self.proves}"
