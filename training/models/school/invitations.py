"""Who was invited to a school and has not answered yet."""

import datetime as dt

from django.db import models

from training.models.school.people import Role

GUARDIAN = "guardian"


class Invitation(models.Model):
    """One role, or a guardian's access, that a school offers to whoever reads an e-mail address.

    It says nothing of whether an account has that address: only its owner learns that. The row goes with the
    answer; ``PeopleChange`` has what was sent and answered.
    """

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="invitations")
    email = models.EmailField(max_length=254)
    name = models.CharField(max_length=200)
    role = models.CharField(max_length=20, choices=[*Role.Kind.choices, (GUARDIAN, GUARDIAN)])
    student = models.ForeignKey(
        "training.Student",
        on_delete=models.CASCADE,
        null=True,
        blank=True,
        related_name="invitations",
        help_text="whose record it opens, to a student or a guardian",
    )
    guardian = models.ForeignKey("training.Guardian", on_delete=models.CASCADE, null=True, blank=True)
    held = models.JSONField(default=dict, blank=True, help_text="what an instructor's role will hold")
    by = models.ForeignKey("training.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField("sent at")
    expires = models.DateTimeField()

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["email"], name="invitation_by_email")]

    def __str__(self) -> str:
        return f"{self.email} invited as {self.role} to {self.school}"

    def expired(self, at: dt.datetime) -> bool:
        return self.expires <= at
