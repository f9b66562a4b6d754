"""Users and their roles."""

from typing import Any, ClassVar

from django.contrib.auth.models import AbstractUser, BaseUserManager
from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.db.models.functions import Lower
from django.dispatch import Signal

from syllabus.engine.audit.instructing import RatingsError, read_ratings
from syllabus.engine.record.record import FLIGHT_INSTRUCTOR
from syllabus.engine.record.vocabulary import INSTRUCTORS

#: Sent with ``user`` when a new password was saved, whoever set it.
password_replaced = Signal()


class UserManager(BaseUserManager["User"]):
    """Users by e-mail address, in any letter case."""

    use_in_migrations = True

    def create_user(self, email: str, password: str | None = None, **fields: Any) -> "User":
        """A new user; without a password they cannot sign in with one.

        Raises: ValueError without an e-mail address.
        """
        if not email.strip():
            raise ValueError("a user signs in by e-mail address, so there must be one")
        user = self.model(email=email, **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(self, email: str, password: str | None = None, **fields: Any) -> "User":
        """A user who may use the admin site, which gives no access to any student's record: only roles do."""
        return self.create_user(email, password, is_staff=True, is_superuser=True, **fields)

    def get_by_natural_key(self, username: str | None) -> "User":
        return self.get(email=(username or "").strip().lower())


class User(AbstractUser):
    """A person who signs in. The e-mail address is stored in lower case, so that it is unique."""

    username = None  # type: ignore[assignment]
    first_name = None  # type: ignore[assignment]
    last_name = None  # type: ignore[assignment]
    email = models.EmailField("e-mail address", unique=True, max_length=254)
    name = models.CharField(max_length=200, blank=True, help_text="as it is to be shown")

    #: The kinds of role at any school, once ``access.roles`` has read them.
    kinds_of_role: frozenset[str] | None = None

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = []

    objects: ClassVar[UserManager] = UserManager()  # type: ignore[assignment]

    class Meta:
        ordering = ["email"]
        constraints = [
            models.CheckConstraint(condition=models.Q(email=Lower("email")), name="user_email_in_lower_case"),
        ]

    def __str__(self) -> str:
        return self.name or self.email

    def clean(self) -> None:
        self.email = self.email.strip().lower()

    @transaction.atomic
    def save(self, *args: Any, **kwargs: Any) -> None:
        """A new password, whoever sets it, ends every session and API token that the old one opened."""
        self.email = self.email.strip().lower()
        saved = kwargs.get("update_fields")
        # Django hashes the same password anew at a sign-in, where its hasher or its cost changed.
        rehashed = saved == ["password"] and self._password is None  # type: ignore[attr-defined]
        before = None
        if not self._state.adding and not rehashed and (saved is None or "password" in saved):
            before = User.objects.filter(pk=self.pk).values_list("password", flat=True).first()
        super().save(*args, **kwargs)
        if before is not None and before != self.password:
            self.end_access()
            password_replaced.send(sender=User, user=self)

    def end_access(self) -> tuple[int, int]:
        """End every session and API token. Returns how many sessions, and how many tokens, ended."""
        sessions = list(self.usersession_set.all())  # type: ignore[attr-defined]
        for each in sessions:
            each.end()
        tokens = self.auth_token_set.all()  # type: ignore[attr-defined]
        return len(sessions), tokens.delete()[0]

    def get_full_name(self) -> str:
        return self.name

    def get_short_name(self) -> str:
        return self.name or self.email


def check_ratings(value: Any) -> None:
    """Refuse invalid ratings of an instructor, with every error."""
    try:
        read_ratings(value)
    except RatingsError as wrong:
        raise ValidationError([str(error) for error in wrong.errors]) from None


class Role(models.Model):
    """A user's role at one school. Someone may instruct at one school and learn at another."""

    class Kind(models.TextChoices):
        INSTRUCTOR = "instructor"
        ADMINISTRATOR = "administrator"
        STUDENT = "student"

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="roles")
    user = models.ForeignKey("training.User", on_delete=models.CASCADE, related_name="roles")
    role = models.CharField(max_length=20, choices=Kind.choices)
    certificate = models.CharField(
        max_length=40,
        blank=True,
        help_text="an instructor's certificate number, as entries are signed with it",
    )
    instructor_kind = models.CharField(
        "kind of instructor",
        max_length=20,
        choices=[(each, each) for each in INSTRUCTORS],
        default=FLIGHT_INSTRUCTOR,
        db_default=FLIGHT_INSTRUCTOR,
        help_text="under what authority an instructor signs: flight, ground, foreign or armed-forces",
    )
    recent_experience_until = models.DateField(
        null=True,
        blank=True,
        help_text="last day of an instructor's recent experience; empty: not recorded here",
    )
    ratings = models.JSONField(
        null=True,
        blank=True,
        validators=[check_ratings],
        help_text="in which aircraft an instructor may give flight training, as instructor and pilot "
        'certificate allow together: [{"category": "airplane", "class": "single-engine '
        'land", "instrument": true}]; empty: not recorded here; []: in none',
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["user", "school", "role"], name="role_once_for_user_and_school"),
            models.CheckConstraint(
                condition=models.Q(role__in=["instructor", "administrator", "student"]), name="role_is_known"
            ),
            models.CheckConstraint(
                condition=models.Q(instructor_kind__in=INSTRUCTORS), name="role_instructor_kind_is_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.user} is {self.role} at {self.school}"
