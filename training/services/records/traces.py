"""What would still tell who an erased student was: names in words about others, and an account of no use.

An erasure takes the student's own rows and bodies. Here is the rest: accounts that only that record gave a
use are closed and lose name and address, names are taken out of the words that outlive the record, and where
the name still stands is counted, for a person to look at.
"""

import json
import re
import uuid
from collections import Counter
from collections.abc import Collection, Iterator
from typing import Any

from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
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

#: What stands in the place of a name.
NOBODY = "[erased]"
#: Shorter names stand inside too many words to look for.
_LEAST = 3
_APPS = ("training", "ledger", "syllabus")
_TEXTS = (models.CharField, models.TextField, models.JSONField)


def close(user: User) -> None:
    """Close an account for good: nobody signs in by it, and it says no more whose it was.

    The row stays, for what others' records say was done by it.
    """
    user.end_access()
    for model in (EmailAddress, Authenticator, ReminderPreferences, CalendarFeed):
        model._default_manager.filter(user=user).delete()
    Delivery.objects.filter(Q(user=user) | Q(to__iexact=user.email)).delete()
    user.name, user.email = "", f"{uuid.uuid4().hex}@erased.invalid"
    user.is_active, user.last_login = False, None
    user.set_unusable_password()
    user.save()
    SignInEvent.objects.filter(user=user).delete()  # last: what was just done is an event too


def names_of(student: Student, accounts: Collection[User]) -> tuple[str, ...]:
    """The whole names and addresses by which a student, now or before, and the accounts are known."""
    found = {student.name.strip()}
    for before in student.record_changes.filter(student_before__isnull=False):
        found.add(str((before.student_before or {}).get("name") or "").strip())
    for each in accounts:
        found |= {each.name.strip(), each.email}
    for guardian in student.guardians.all():
        found |= {guardian.name.strip(), guardian.email}
    return tuple(sorted((each for each in found if len(each) >= _LEAST), key=len, reverse=True))


def named(text: str, names: Collection[str]) -> str:
    """The name that a text tells, by the whole of it or by a part of it; empty where it tells none."""
    found = _pattern(names).search(text) if names else None
    return found[0] if found else ""


def without(value: Any, names: Collection[str]) -> Any:
    """A text, or JSON with texts in it, that tells none of these names."""
    if isinstance(value, str):
        return _pattern(names).sub(NOBODY, value) if names else value
    if isinstance(value, dict):
        return {key: without(each, names) for key, each in value.items()}
    if isinstance(value, list):
        return [without(each, names) for each in value]
    return value


def _pattern(names: Collection[str]) -> re.Pattern[str]:
    """Whole names and addresses however they are written; a name's parts only as they are written."""
    parts = {part for name in names if "@" not in name for part in name.split() if len(part) >= _LEAST}
    whole = "|".join(re.escape(each) for each in names)
    some = "|".join(re.escape(each) for each in sorted(parts, key=len, reverse=True))
    return re.compile(rf"(?<!\w)(?:(?i:{whole}){f'|{some}' if some else ''})(?!\w)")


def take_out(student: Student, names: Collection[str], accounts: Collection[User]) -> None:
    """Take names out of the words that an erasure leaves: holds, changes about people, the admin site's."""
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
    """How many rows of which table still tell one of these names whole; reads every table of the record.

    It may be somebody else of that name, or words about another person.
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
