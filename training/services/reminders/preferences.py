"""A user's reminder settings."""

from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError

from syllabus.engine.errors import Error, InputError
from training.models import ReminderPreferences, Role, User
from training.services import row_scope


class PreferenceError(InputError):
    """An invalid setting."""

    what = "the preferences"


def of(user: User) -> ReminderPreferences:
    """A user's settings; the defaults if none are set."""
    return ReminderPreferences.objects.filter(user=user).first() or ReminderPreferences(user=user)


def set_for(user: User, **given: Any) -> ReminderPreferences:
    """Set what is given, and everything else to its default. Queued e-mail keeps its time.

    Raises: PreferenceError with every error.
    """
    row = ReminderPreferences(user=user, **given)
    before = ReminderPreferences.objects.filter(user=user).first()
    row.pk = before.pk if before else None
    try:
        row.full_clean(validate_unique=False, validate_constraints=False)
    except ValidationError as problem:
        raise PreferenceError(
            Error(place, " ".join(messages)) for place, messages in problem.message_dict.items()
        ) from None
    row.save(force_update=before is not None)
    return row


def as_json(preferences: ReminderPreferences) -> dict[str, Any]:
    return {
        "time_zone": preferences.time_zone or None,
        "language": preferences.language,
        "email": preferences.email,
        "quiet_from": preferences.quiet_from.strftime("%H:%M"),
        "quiet_until": preferences.quiet_until.strftime("%H:%M"),
    }


def zone_of(user: User) -> str:
    """The time zone of a person's own pages and e-mails: the one chosen, else the school's, else UTC."""
    own = of(user).time_zone
    with row_scope.every_school():  # before sign-in no school's rows are shown
        found = Role.objects.filter(user=user).order_by("pk").values_list("school__time_zone", flat=True)
        return own or found.first() or settings.TIME_ZONE
