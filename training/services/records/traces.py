"""Removes remaining traces of an erased student: names in texts about others, and unused accounts.

An erasure deletes the student's own rows and bodies. This closes accounts without another use, which lose
name and address; takes names out of the texts that outlive the record; and counts where the name still
appears, for a person to check.
"""

import json
import re
import uuid
from collections import Counter
from collections.abc import Collection, Iterator
from typing import Any

from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from allauth.socialaccount.models import SocialAccount
from django.apps import apps
from django.contrib.admin.models import LogEntry
from django.db import models
from django.db.models import Q

from training.models import (
    CalendarFeed,
    Delivery,
    PeopleChange,
    ReminderPreferences,
    RetentionHold,
    SignInEvent,
    Student,
    User,
)

#: The replacement for a name.
NOBODY = "[erased]"
#: Shorter names appear inside too many words to search for.
_LEAST = 3
_APPS = ("training", "ledger", "syllabus")
_TEXTS = (models.CharField, models.TextField, models.JSONField)


def close(user: User) -> None:
    """Close an account for good: nobody can sign in with it, and it no longer says whose it was.

    The row stays, for what others' records say about its actions.
    """
    user.end_access()
    for model in (EmailAddress, Authenticator, SocialAccount, ReminderPreferences, CalendarFeed):
        model._default_manager.filter(user=user).delete()
    Delivery.objects.filter(Q(user=user) | Q(to__iexact=user.email)).delete()
    user.name, user.email = "", f"{uuid.uuid4().hex}@erased.invalid"
    user.is_active, user.last_login = False, None
    user.set_unusable_password()
    user.save()
    SignInEvent.objects.filter(user=user).delete()  # last: what was just done is an event too


def names_of(student: Student, accounts: Collection[User]) -> tuple[str, ...]:
    """The full names and addresses, current and former, of a student and the accounts."""
    found = {student.name.strip()}
    for before in student.record_changes.filter(student_before__isnull=False):
        found.add(str((before.student_before or {}).get("name") or "").strip())
    for each in accounts:
        found |= {each.name.strip(), each.email}
    for guardian in student.guardians.all():
        found |= {guardian.name.strip(), guardian.email}
    return tuple(sorted((each for each in found if len(each) >= _LEAST), key=len, reverse=True))


def named(text: str, names: Collection[str]) -> str:
    """The name that a text contains, in full or in part; empty if none."""
    found = _pattern(names).search(text) if names else None
    return found[0] if found else ""


def without(value: Any, names: Collection[str]) -> Any:
    """A text, or JSON with texts, without these names."""
    if isinstance(value, str):
        return _pattern(names).sub(NOBODY, value) if names else value
    if isinstance(value, dict):
        return {key: without(each, names) for key, each in value.items()}
    if isinstance(value, list):
        return [without(each, names) for each in value]
    return value


def _pattern(names: Collection[str]) -> re.Pattern[str]:
    """Full names and addresses in any case; parts of a name only as written."""
    parts = {part for name in names if "@" not in name for part in name.split() if len(part) >= _LEAST}
    whole = "|".join(re.escape(each) for each in names)
    some = "|".join(re.escape(each) for each in sorted(parts, key=len, reverse=True))
    return re.compile(rf"(?<!\w)(?:(?i:{whole}){f'|{some}' if some else ''})(?!\w)")


def take_out(student: Student, names: Collection[str], accounts: Collection[User]) -> None:
    """Remove names from the texts that an erasure leaves: holds, changes of people, the admin site's log."""
    for hold in RetentionHold.objects.filter(student=student):
        hold.reason = without(hold.reason, names)
        hold.released_reason = without(hold.released_reason, names)
        hold.save(update_fields=["reason", "released_reason"])
    for change in PeopleChange.objects.filter(user__in=accounts):
        said = without([change.before, change.after], names)
        if said != [change.before, change.after]:
            PeopleChange.objects.filter(pk=change.pk).update(before=said[0], after=said[1])
    told = Q()
    for name in names:
        told |= Q(object_repr__icontains=name) | Q(change_message__icontains=name)
    for entry in LogEntry.objects.filter(told) if names else ():
        entry.object_repr = without(entry.object_repr, names)
        entry.change_message = without(entry.change_message, names)
        entry.save(update_fields=["object_repr", "change_message"])


def left(names: Collection[str]) -> Counter[str]:
    """How many rows of which table still contain one of these names in full; reads every table of the record.

    It may be another person of that name, or a text about someone else.
    """
    found: Counter[str] = Counter()
    for label in _APPS:
        for model in apps.get_app_config(label).get_models():
            asked = Q()
            for column in _columns(model):
                for name in names:
                    for written in {name, json.dumps(name)[1:-1]}:
                        asked |= Q(**{f"{column}__icontains": written})
            if asked and (number := model._default_manager.filter(asked).count()):
                found[str(model._meta.verbose_name_plural)] += number
    return found


def _columns(model: type[models.Model]) -> Iterator[str]:
    for field in model._meta.concrete_fields:
        if isinstance(field, _TEXTS) and not field.choices and not field.is_relation:
            yield field.name
