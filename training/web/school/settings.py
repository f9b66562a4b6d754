"""What the school sets that answers depend on."""

from __future__ import annotations

import json

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from syllabus.engine import reading
from syllabus.engine.reading import Faults
from training.models.schools import CLAIMABLE
from training.services import confirming, record_changes, school_settings
from training.services.confirming import NotConfirmed
from training.services.errors import NotAllowed
from training.services.record_changes import ReasonError
from training.services.school_settings import SettingsError
from training.web.instructor import signing
from training.web.school import opening
from training.web.school.opening import Opened, administered
from training.web.shown import day

_LISTS = {
    "endorsements": _("Endorsements"),
    "tests": _("Tests"),
    "documents": _("Documents"),
    "flights": _("Flights"),
    "items": _("Grades of items"),
    "certificates": _("Certificates held"),
}
_LATEST = 20


@sensitive_post_parameters("confirm_password", "passkey")
@require_http_methods(["GET", "HEAD", "POST"])
@administered
def settings(opened: Opened) -> HttpResponse:
    """GET: the settings. POST: they are changed."""
    school = opened.school
    if opened.request.method != "POST":
        return _page(opened, {}, list(school.claims_asked), str(school.taxi_allowance_minutes))
    asked = [name for name in CLAIMABLE if name in opened.request.POST.getlist("claims_asked")]
    typed = str(opened.request.POST.get("taxi_allowance_minutes", "")).strip()
    faults = Faults()
    if typed.isascii() and typed.isdecimal() and len(typed) < 5:
        minutes = reading.count(faults, int(typed), "taxi_allowance_minutes")
    else:
        faults.add("taxi_allowance_minutes", gettext("Enter whole minutes, such as 30."))
    if not faults:
        try:
            values = {"claims_asked": asked, "taxi_allowance_minutes": minutes}
            reason, confirmed = str(opened.request.POST.get("reason", "")), None
            if school_settings.asks_why(school, values):
                reason = record_changes.reason_of(reason)
                act = school_settings.act(school, asked, reason)
                confirmed = signing.confirm(opened.request, opened.user, lambda by_passkey: act, [])
            school_settings.change(
                school.slug, values, by=opened.user, at=opened.at, reason=reason, confirmed=confirmed
            )
        except (SettingsError, ReasonError) as problem:
            faults.extend(problem.faults)
        except (NotAllowed, NotConfirmed) as refused:
            faults.add("", str(refused))
        else:
            messages.success(opened.request, gettext("Settings saved."))
            return redirect("school-settings", school.slug)
    return _page(opened, opening.by_field(faults), asked, typed, 422)


def _page(
    opened: Opened, faults: dict[str, str], asked: list[str], minutes: str, status: int = 200
) -> HttpResponse:
    made = school_settings.changes(opened.school, school_settings.SETTINGS)[:_LATEST]
    return opened.page(
        "settings",
        "settings",
        status=status,
        lists=[(name, gettext(_LISTS[name]), name in asked) for name in CLAIMABLE],
        minutes=minutes,
        faults=faults,
        reason=opened.request.POST.get("reason", ""),
        most_reason=record_changes.MOST_REASON,
        passkeys=json.dumps(confirming.passkeys(opened.user)),
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
}


def _value(value: list[str] | int) -> str:
    if isinstance(value, int):
        return str(value)
    return ", ".join(gettext(_LISTS[each]) for each in value) or gettext("none")
