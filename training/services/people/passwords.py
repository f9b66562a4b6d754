"""What a new password must not be made of."""

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from training.models import Role, User

#: What somebody who guesses at accounts of this program tries first.
WORDS = {
    *(
        "admin",
        "administrator",
        "aircraft",
        "airplane",
        "airport",
        "aviation",
        "demo",
        "endorsement",
        "examiner",
    ),
    *("flight", "flying", "guardian", "instructor", "lesson", "license", "logbook", "password", "pilot"),
    *("record", "runway", "school", "secret", "solo", "student", "training", "welcome", "wings"),
}
#: Each word that is easy to guess here counts as one character, and so many have to remain.
LEAST = 8
_LETTERS = 4


class EasyWords:
    """Refuses a password that is little more than words of this trade, or of the names of one's schools."""

    def validate(self, password: str, user: User | None = None) -> None:
        """Raises: ValidationError."""
        counted = password.lower()
        for word in sorted(WORDS | _of_schools(user), key=len, reverse=True):
            counted = counted.replace(word, "\0")
        if len(counted) < LEAST <= len(password):
            raise ValidationError(
                _("This password consists of words that are easy to guess. Add other words."),
                code="password_easy_words",
            )

    def get_help_text(self) -> str:
        return _("Your password can’t consist of words such as “flight” or your school’s name.")


def _of_schools(user: User | None) -> set[str]:
    if user is None or user.pk is None:
        return set()
    names = Role.objects.filter(user=user).values_list("school__name", flat=True)
    return {word for name in names for word in name.lower().split() if len(word) >= _LETTERS}
