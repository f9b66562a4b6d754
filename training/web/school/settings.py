"""The school's settings: what affects answers, and who must have a second factor."""

import json
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext, gettext_lazy
from django.utils.translation import gettext_noop as _
from django.views.decorators.debug import sensitive_post_parameters

from training.models.school.schools import CLAIMABLE, FACTOR_ROLES, MOST_RELEASE_HOURS
from training.presenters import entry
from training.services.records import record_changes
from training.services.school import school_settings
from training.services.signing import reauthentication
from training.web.shared import signing
from training.web.shared.forms import Form, Text
from training.web.shared.limits import LIMITS, limits_of
from training.web.shared.opening import Opened, administered
from training.web.shared.report_presenter import day

_LISTS = {
    "endorsements": _("Endorsements"),
    "tests": _("Tests"),
    "documents": _("Documents"),
    "flights": _("Flights"),
    "items": _("Grades of items"),
    "certificates": _("Certificates held"),
}
_ROLES = {
    "administrator": _("Administrators"),
    "instructor": _("Instructors"),
    "student": _("Students"),
}
_LATEST = 20


class Settings(Form):
    claims_asked = forms.MultipleChoiceField(
        label=gettext_lazy("Claimed entries that make an answer unknown"),
        choices=[(name, gettext_lazy(_LISTS[name])) for name in CLAIMABLE],
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    taxi_allowance_minutes = forms.IntegerField(
        label=gettext_lazy("Taxi allowance in minutes"),
        min_value=0,
        max_value=9_999,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        error_messages=dict.fromkeys(
            ("required", "invalid", "min_value", "max_value"),
            gettext_lazy("Enter whole minutes, such as 30."),
        ),
        help_text=gettext_lazy(
            "How much more time than off to on a flight may log before the answer is unknown. 30 minutes is "
            "common practice, not a regulation. If out and in are entered, they are used instead."
        ),
    )
    release_hours = forms.IntegerField(
        label=gettext_lazy("Hours that a solo release lasts"),
        min_value=1,
        max_value=MOST_RELEASE_HOURS,
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        help_text=gettext_lazy(
            "The most. A release ends earlier with an endorsement, the daylight or the weather. This is the "
            "school's own limit, not a regulation's."
        ),
    )
    second_factor_for = forms.MultipleChoiceField(
        label=gettext_lazy("Second factor required for"),
        choices=[(name, gettext_lazy(_ROLES[name])) for name in FACTOR_ROLES],
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    reason = Text(gettext_lazy("Reason"), max_length=record_changes.MOST_REASON)


for _key, _label in LIMITS.items():
    Settings.base_fields[f"limits.{_key}"] = Text(gettext_lazy(_label))


@sensitive_post_parameters("confirm_password", "passkey")
@administered("GET", "POST")
def settings(opened: Opened) -> HttpResponse:
    """GET: the settings. POST: change them."""
    school = opened.school

    def change(reason: str, **values: Any) -> None:
        confirmed = None
        values["release_hours"] = values["release_hours"] or school.release_hours
        values["release_limits"] = limits_of({key: values.pop(f"limits.{key}") or "" for key in LIMITS})
        values["claims_asked"] = [name for name in CLAIMABLE if name in values["claims_asked"]]
        if school_settings.asks_why(school, values):
            reason = record_changes.reason_of(reason)
            act = school_settings.act(school, values["claims_asked"], reason)
            confirmed = signing.confirm(opened.request, opened.user, lambda by_passkey: act, [])
        school_settings.change(
            school.slug, values, by=opened.user, at=opened.at, reason=reason, confirmed=confirmed
        )

    stands = {name: getattr(school, name) for name in _NAMES}
    stands |= {f"limits.{key}": text for key, text in school.release_limits.items()}
    form = Settings.bind(opened.request, initial=stands)
    if form.submit(change):
        messages.success(opened.request, gettext("Settings saved."))
        return redirect("school-settings", school.slug)
    made = school_settings.changes(opened.school, school_settings.SETTINGS)[:_LATEST]
    return opened.page(
        "settings",
        "settings",
        status=form.status,
        form=form,
        limits=[form[f"limits.{key}"] for key in LIMITS],
        passkeys=json.dumps(reauthentication.passkeys(opened.user)),
        sealed_as=school_settings.CHANGED,
        about=school_settings.SETTINGS,
        changes=[
            {
                "day": day(opened.school.day(each.at)),
                "by": str(each.by),
                "reason": each.reason,
                "said": [
                    (gettext(_NAMES[name]), _value(each.before[name]), _value(each.after[name]))
                    for name in each.after
                ],
            }
            for each in made
        ],
    )


_NAMES = {
    "claims_asked": _("Claimed entries that make an answer unknown"),
    "taxi_allowance_minutes": _("Taxi allowance in minutes"),
    "release_hours": _("Hours that a solo release lasts"),
    "release_limits": _("Limits of every solo flight"),
    "second_factor_for": _("Second factor required for"),
}


def _value(value: list[str] | dict[str, str] | int) -> str:
    if isinstance(value, int):
        return str(value)
    if isinstance(value, dict):
        return entry.limits(value) or gettext("none")
    return ", ".join(gettext({**_LISTS, **_ROLES}[each]) for each in value) or gettext("none")
