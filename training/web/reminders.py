"""The pages of reminders: one's own, how one wants them, one's calendar; and what a school will be sent."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping
from typing import Any

from django.conf import settings
from django.contrib import messages as flash
from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from syllabus.engine.errors import FaultsFound
from syllabus.engine.report import CAUTION
from training.models import LeadTimes, Notice, School, User
from training.reports import lapses
from training.services import access, notices
from training.services.reminders import calendars, coming, failures, leads, preferences
from training.web.shown import day

#: What a notice says that is no reminder; those stand above by themselves.
NOTICES: Mapping[str, object] = {
    Notice.Kind.SIGNED: gettext_lazy("A lesson of yours was signed."),
    Notice.Kind.CORRECTED: gettext_lazy("A lesson of yours was corrected."),
    Notice.Kind.RECORD_CHANGED: gettext_lazy("Your training record was changed."),
    Notice.Kind.PERSON_CHANGED: gettext_lazy("Your name or birth date on record was changed."),
}
MOST_NOTICES = 20
#: What the lead times of a kind are called.
KINDS = {
    lapses.ENDORSEMENT: gettext_lazy("Endorsements"),
    lapses.MEDICAL: gettext_lazy("Medical certificates"),
    lapses.DOCUMENT: gettext_lazy("Other documents"),
    lapses.CERTIFICATE: gettext_lazy("Certificates"),
    lapses.TEST: gettext_lazy("Test results"),
    lapses.TRAINING: gettext_lazy("Recent training"),
    leads.RECENT_EXPERIENCE: gettext_lazy("Instructors' recent experience"),
    leads.AIRCRAFT: gettext_lazy("Aircraft"),
}
#: What is typed where nobody is to be told.
NEVER = gettext_lazy("never")


def _user(request: HttpRequest) -> User:
    assert isinstance(request.user, User)
    return request.user


@require_safe
@never_cache
@login_required
def own(request: HttpRequest) -> HttpResponse:
    """What ends soon of oneself and of the students one instructs."""
    return _shown(request, timezone.now())


def _shown(request: HttpRequest, at: dt.datetime, status: int = 200, **more: Any) -> HttpResponse:
    user = _user(request)
    told = {
        "reminders": [
            {
                "own": each,
                "last": day(each.reminder.last_day),
                "snoozed": each.snoozed_until and day(each.snoozed_until),
                "first": (each.reminder.school.day(at) + dt.timedelta(days=1)).isoformat(),
                "latest": each.reminder.last_day.isoformat(),
                "may_snooze": each.reminder.school.day(at) < each.reminder.last_day,
            }
            for each in coming.own(user, at, via="web")
        ],
        "notices": [
            {
                "row": each,
                "words": NOTICES[each.kind],
                "on": day(each.student.school.day(each.at)),
            }
            for each in notices.told(user, at.date())
            .filter(kind__in=NOTICES)
            .select_related("student__school")[:MOST_NOTICES]
        ],
        "preferences": preferences.as_json(preferences.of(user)),
        "languages": settings.LANGUAGES,
        "has_calendar": hasattr(user, "calendar_feed"),
        "administers": list(access.schools(user).order_by("pk")),
        "caution": CAUTION,
        **more,
    }
    return render(request, "training/reminders.html", told, status=status)


@require_POST
@never_cache
@login_required
def act(request: HttpRequest, ref: uuid.UUID) -> HttpResponse:
    """Read one, or put it off until a day."""
    user, at = _user(request), timezone.now()
    reminder = coming.find(user, ref, at)
    wanted = request.POST.get("until", "").strip()
    if not wanted:
        coming.mark_read(user, reminder, at)
        return redirect("reminders")
    try:
        until = dt.date.fromisoformat(wanted)
        coming.snooze(user, reminder, until, at)
    except ValueError:
        flash.error(request, _("%(given)r is not a date. Enter it as 2026-11-20.") % {"given": wanted[:40]})
    except FaultsFound as problem:
        flash.error(request, " ".join(fault.message for fault in problem.faults))
    else:
        flash.success(request, _("Postponed until %(day)s.") % {"day": day(until)})
    return redirect("reminders")


@require_POST
@never_cache
@login_required
def read_notice(request: HttpRequest, notice: int) -> HttpResponse:
    """Note that a notice was read, and go to what it is about."""
    read = notices.mark_read(_user(request), notice, timezone.now())
    if read.kind in (Notice.Kind.RECORD_CHANGED, Notice.Kind.PERSON_CHANGED):
        return redirect("changes", read.student.ref)
    return redirect("lesson", read.student.ref, read.about)


@require_POST
@never_cache
@login_required
def prefer(request: HttpRequest) -> HttpResponse:
    """Set the preferences."""
    given: dict[str, Any] = {
        "time_zone": request.POST.get("time_zone", "").strip(),
        "email": request.POST.get("email") == "on",
        "language": request.POST.get("language") or preferences.of(_user(request)).language,
    }
    for key in ("quiet_from", "quiet_until"):
        try:
            given[key] = dt.time.fromisoformat(request.POST.get(key, "")[:5])
        except ValueError:
            flash.error(request, _("Enter times of day as 21:00 and 07:00."))
            return redirect("reminders")
    try:
        preferences.set_for(_user(request), **given)
    except FaultsFound as problem:
        flash.error(request, " ".join(fault.message for fault in problem.faults))
    else:
        flash.success(request, _("Preferences saved."))
    return redirect("reminders")


@require_POST
@never_cache
@login_required
def calendar(request: HttpRequest) -> HttpResponse:
    """Create a calendar link, which is shown once; or turn it off."""
    user, at = _user(request), timezone.now()
    if request.POST.get("close"):
        calendars.revoke(user)
        flash.success(request, _("Calendar link turned off."))
        return redirect("reminders")
    secret = calendars.create(user, at)
    return _shown(request, at, address=calendars.address(secret), has_calendar=True)


@require_safe
@never_cache
def feed(request: HttpRequest, secret: str) -> HttpResponse:
    """A calendar, for whoever knows its secret address."""
    found = calendars.read(secret, timezone.now())
    if found is None:
        raise Http404("no calendar")
    response = HttpResponse(found, content_type="text/calendar; charset=utf-8")
    response["Content-Disposition"] = 'inline; filename="training-record.ics"'
    response["X-Robots-Tag"] = "noindex"
    return response


@require_safe
@never_cache
@login_required
def ahead(request: HttpRequest) -> HttpResponse:
    """What the schools that one administers will be told in the next 30 days."""
    user, at = _user(request), timezone.now()
    schools = list(access.schools(user).order_by("pk"))
    if not schools:
        raise PermissionDenied
    shown = []
    for school in schools:
        listed = coming.of_school(school, at)
        for student in {each.student for each in listed if each.student}:
            access.log(user, student, access.READ, "reminders to come", via="web", at=at)
        shown.append(
            {
                "school": school,
                "coming": [(day(each.day), day(each.last_day), each) for each in listed],
                "lead_times": _lead_times(school),
                "not_sent": failures.deliveries(school),
                "not_worked_out": failures.records(school),
            }
        )
    told = {"schools": shown, "days": coming.DAYS, "caution": CAUTION}
    return render(request, "training/reminders_ahead.html", told)


def _lead_times(school: School) -> list[dict[str, Any]]:
    own = dict(LeadTimes.objects.filter(school=school).values_list("kind", "days"))
    return [
        {
            "kind": kind,
            "name": KINDS[kind],
            "own": (_written(own[kind]) or NEVER) if kind in own else "",
            "default": _written(days),
        }
        for kind, days in leads.DEFAULTS.items()
    ]


def _written(days: Iterable[int]) -> str:
    return ", ".join(map(str, days))


@require_POST
@never_cache
@login_required
def set_lead_times(request: HttpRequest, school: str) -> HttpResponse:
    """Set how long before the school's people are told; a blank one is common practice."""
    found = next((each for each in access.schools(_user(request)) if each.slug == school), None)
    if found is None:
        raise Http404("no school of that name that you administer")
    given: dict[str, list[int] | None] = {}
    faults = []
    for kind in leads.DEFAULTS:
        text = request.POST.get(kind, "").strip()
        try:
            given[kind] = _days(text)
        except ValueError:
            said = _("%(kind)s: cannot read “%(given)s”. Enter days such as 60, 30, 7.")
            faults.append(said % {"kind": KINDS[kind], "given": text[:40]})
    if not faults:
        try:
            leads.set_several(found, given, at=timezone.now())
        except FaultsFound as problem:
            faults = [f"{KINDS[each.place.removeprefix('days.')]}: {each.message}" for each in problem.faults]
    for each in faults:
        flash.error(request, each)
    if not faults:
        flash.success(request, _("Lead times saved. Future reminders use them."))
    return redirect("reminders-ahead")


def _days(text: str) -> list[int] | None:
    """Days as they are typed. None: blank. Raises: ValueError."""
    if not text:
        return None
    if text == str(NEVER):
        return []
    return [int(each) for each in text.replace(",", " ").split()]
