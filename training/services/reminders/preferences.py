"""How a user wants to be told."""

from typing import Any

from django.core.exceptions import ValidationError

from syllabus.engine.errors import Error, InputError
from training.models import ReminderPreferences, User


class PreferenceError(InputError):
    """A preference cannot be that."""

    what = "the preferences"


def of(user: User) -> ReminderPreferences:
    """How a user wants to be told; the defaults where nothing was set."""
    return ReminderPreferences.objects.filter(user=user).first() or ReminderPreferences(user=user)


def set_for(user: User, **given: Any) -> ReminderPreferences:
    """Set what is given, all else to its default. What waits to be sent keeps its time.

    Raises: PreferenceError with every fault.
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
