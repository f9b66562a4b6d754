"""Endorsements given here: a school's own wording, the signature, the revocation."""

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q

from syllabus.law import endorsements


class EndorsementWording(models.Model):
    """A school's own wording for one kind of endorsement, which replaces the built-in one.

    It may have the same placeholders. Changing it changes nothing that was given: a signature keeps the text
    as it was filled in.
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
        """Refuse an unknown kind, and a wording that cannot be filled in."""
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

    ``shown`` is the report that the instructor saw before signing; ``judgement`` what the instructor added in
    words; ``ledger_index`` the index of the entry in the school's ledger.
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
    """A revocation of an endorsement given here. Written once, never edited.

    ``endorsement`` is the row that was given, retired at the same instant. Its ``successor`` on record is a
    row of its own with the same content, which ends before the revocation's day.
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
