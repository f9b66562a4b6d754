"""What goes with an endorsement given here: a school's own wording, how it was signed, its end."""

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q

from syllabus.law import endorsements


class EndorsementWording(models.Model):
    """A school's own words for one kind of endorsement, in the place of the catalogue's.

    The placeholders are those of the catalogue. Changing the words changes nothing that was given: a seal
    keeps the words as they were filled in.
    """

    school = models.ForeignKey(
        "training.School", on_delete=models.CASCADE, related_name="endorsement_wordings"
    )
    kind = models.CharField(max_length=100)
    wording = models.TextField(help_text="with placeholders in braces, such as {student} or {aircraft_model}")

    class Meta:
        ordering = ["kind"]
        constraints = [
            models.UniqueConstraint(fields=["school", "kind"], name="endorsementwording_once_for_school"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} at {self.school}"

    def clean(self) -> None:
        """Refuse a kind that is not in the catalogue, and words that cannot be filled in."""
        kind = endorsements.current().kinds.get(self.kind)
        if kind is None:
            known = ", ".join(endorsements.current().kinds)
            raise ValidationError(
                {"kind": f"{self.kind!r} is not a kind of endorsement; use one of {known}."}
            )
        try:
            endorsements.check_wording(kind, self.wording)
        except endorsements.WordingError as problem:
            raise ValidationError({"wording": str(problem)}) from None


class EndorsementSeal(models.Model):
    """How an endorsement was given here. Written once, never edited.

    ``shown`` is the report that stood before the instructor at the moment of signing; ``judgement`` what the
    instructor added in words; ``ledger_index`` the place of the sealed entry in the school's ledger.
    """

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.PROTECT, related_name="+")
    endorsement = models.OneToOneField("training.Endorsement", on_delete=models.PROTECT, related_name="seal")
    by = models.ForeignKey("training.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    wording = models.TextField()
    judgement = models.TextField(blank=True)
    shown = models.JSONField()
    confirmed = models.JSONField(default=dict, blank=True, help_text="as the ledger has it")
    ledger_index = models.BigIntegerField()

    class Meta:
        ordering = ["at", "pk"]

    def __str__(self) -> str:
        return f"seal of {self.endorsement}"


class Revocation(models.Model):
    """An endorsement given here was ended. Written once, never edited.

    ``endorsement`` is the row that was given, retired at the same instant. What stands on record in its place
    (``successor``) is a row of its own with the same content, whose last day lies before the revocation's.
    """

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.PROTECT, related_name="+")
    endorsement = models.OneToOneField(
        "training.Endorsement", on_delete=models.PROTECT, related_name="revocation"
    )
    by = models.ForeignKey("training.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    reason = models.TextField()
    confirmed = models.JSONField(default=dict, blank=True, help_text="as the ledger has it")
    ledger_index = models.BigIntegerField()

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="revocation_has_a_reason"),
        ]

    def __str__(self) -> str:
        return f"revocation of {self.endorsement}"
