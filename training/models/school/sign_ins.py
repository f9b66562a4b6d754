"""What happened to an account's sign-in."""

from django.db import models


class SignInEvent(models.Model):
    """One event: who, what, when and from where; never a password, a code or a token.

    ``user`` is whose account it is; null where no account has the address that was tried. ``by`` is another
    person who did it. ``school`` is the one that a role belongs to; null of what is about the account.
    """

    class What(models.TextChoices):
        SIGNED_IN = "signed-in"
        FAILED = "sign-in-failed"
        LOCKED = "locked"
        SIGNED_OUT = "signed-out"
        PASSWORD = "password-set"  # noqa: S105
        FACTOR_ADDED = "factor-added"
        FACTOR_REMOVED = "factor-removed"
        FACTOR_USED = "factor-used"
        FACTOR_FAILED = "factor-failed"
        TOKEN_MADE = "token-made"  # noqa: S105
        TOKEN_ENDED = "token-ended"  # noqa: S105
        ROLE = "role"

    user = models.ForeignKey("training.User", on_delete=models.CASCADE, null=True, related_name="+")
    by = models.ForeignKey("training.User", on_delete=models.SET_NULL, null=True, related_name="+")
    school = models.ForeignKey("training.School", on_delete=models.CASCADE, null=True, related_name="+")
    what = models.CharField(max_length=20, choices=What.choices)
    about = models.CharField(max_length=60, blank=True, help_text="such as totp, or instructor invited")
    at = models.DateTimeField()
    via = models.CharField(max_length=10, help_text="web, api or command")
    ip = models.GenericIPAddressField(null=True)
    program = models.CharField(max_length=120, blank=True, help_text="as the browser names itself")

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [
            models.Index(fields=["user", "-at"], name="signinevent_by_user"),
            models.Index(fields=["at"], name="signinevent_by_time"),
        ]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.what} of user {self.user_id}"
