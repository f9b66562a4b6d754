"""A school's settings that answers depend on: everybody there sees them, administrators change them.

Each change is recorded (``SchoolChange``).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Field, QuerySet

from syllabus.engine.errors import Error, InputError
from syllabus.engine.record.limits import Limits, read_limits
from syllabus.engine.record.shapes import shape_of
from training.models import School, SchoolChange, User
from training.services import access
from training.services.errors import NotAllowed
from training.services.records import record_changes
from training.services.signing import nonces
from training.services.signing.reauthentication import Act, content_of

SETTINGS, AIRCRAFT_MODELS = "settings", "aircraft models"
#: The settings that decide whether claims count; a change needs a reason and re-authentication.
CONFIRMED = "claims_asked"
#: The kind of such a change in a passkey's statement.
CHANGED = "school.settings-changed"


#: The limits of every solo flight.
LIMITS = "release_limits"


class SettingsError(InputError):
    """Invalid settings."""

    what = "the settings"


def seen(user: User) -> QuerySet[School]:
    """The schools where the user has a role: everyone's reports there depend on their settings."""
    return School.objects.filter(roles__user=user).distinct()


def asks_why(school: School, values: Mapping[str, Any]) -> bool:
    """Whether these values change a setting that needs a reason and re-authentication."""
    if CONFIRMED not in values:
        return False
    try:
        return bool(_field(CONFIRMED).clean(values[CONFIRMED], school) != getattr(school, CONFIRMED))
    except ValidationError:
        return False  # invalid values change nothing: ``change`` refuses them


def act(school: School, claims_asked: list[str], reason: str) -> Act:
    """What the user signs to change which claims make an answer unknown."""
    _, digest = content_of({CONFIRMED: claims_asked, "reason": reason})
    return Act(CHANGED, school.slug, SETTINGS, digest)


@transaction.atomic
def change(
    slug: str,
    values: Mapping[str, Any],
    *,
    by: User,
    at: dt.datetime,
    reason: str = "",
    confirmed: Mapping[str, Any] | None = None,
) -> School:
    """Set what is named in ``values`` (claims_asked, taxi_allowance_minutes,
    release_hours, release_limits, second_factor_for).

    Repeating the same changes nothing. ``confirmed`` says how the caller re-authenticated ``by``; needed if
    ``asks_why``.

    Raises: NotAllowed; SettingsError with every error; ReasonError if ``asks_why`` and there is no reason.
    """
    school = access.locked_school(by, "change settings", slug)
    before = {name: getattr(school, name) for name in values}
    errors = []
    for name, value in values.items():
        try:
            clean = _field(name).clean(value, school)
            if name == LIMITS:  # each with its unit
                clean = shape_of(Limits).write(read_limits(clean))
            setattr(school, name, clean)
        except ValidationError as wrong:
            errors += [Error(name, message) for message in wrong.messages]
    if errors:
        raise SettingsError(errors)
    after = {name: getattr(school, name) for name in values}
    if changed := [name for name in after if after[name] != before[name]]:
        if CONFIRMED in changed:
            reason = record_changes.reason_of(reason)
            if not confirmed:
                raise NotAllowed("Re-authenticate to change which claims raise a question.")
        nonces.spend(confirmed, at)
        school.save(update_fields=changed)
        noted = ({name: each[name] for name in changed} for each in (before, after))
        note(school, SETTINGS, *noted, by=by, at=at, reason=reason, confirmed=dict(confirmed or {}))
        school.refresh_from_db(fields=["rules_version"])  # the database drew it
    return school


def _field(name: str) -> Field[Any, Any]:
    found = School._meta.get_field(name)
    assert isinstance(found, Field)
    return found


def note(
    school: School, what: str, before: Any, after: Any, *, by: User, at: dt.datetime, **more: Any
) -> None:
    """Record who changed what of the school's settings."""
    SchoolChange.objects.create(school=school, by=by, what=what, before=before, after=after, at=at, **more)


def changes(school: School, what: str) -> QuerySet[SchoolChange]:
    """The changes, newest first."""
    return SchoolChange.objects.filter(school=school, what=what).select_related("by")
