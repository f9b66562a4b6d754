"""Pages of reminders: the user's own, settings and calendar link; and a school's upcoming ones."""

import datetime as dt
import uuid
from collections.abc import Mapping
from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages as flash
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from training.models import LeadTimes, Notice, Reminder, School
from training.reports import lapses
from training.services import access
from training.services.reminders import calendars, coming, failures, leads, notices, preferences
from training.web.shared.forms import Checkbox, Choice, Form, Text, sent_or_new, text_of
from training.web.shared.opening import SignedIn, show, signed_in
from training.web.shared.report_presenter import day

#: Titles of notices that are not about a reminder; the page lists them first.
NOTICES: Mapping[str, object] = {
    Notice.Kind.SIGNED: gettext_lazy("A lesson of yours was signed."),
    Notice.Kind.CORRECTED: gettext_lazy("A lesson of yours was corrected."),
    Notice.Kind.RECORD_CHANGED: gettext_lazy("Your training record was changed."),
    Notice.Kind.PERSON_CHANGED: gettext_lazy("Your name or birth date on record was changed."),
}
MOST_NOTICES = 20
#: Labels of the lead times, by kind.
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
#: What the user types to send no reminders of a kind.
NEVER = gettext_lazy("never")


class Postpone(Form):
    until = Text(gettext_lazy("Remind me again on"))

    def __init__(self, data: Any = None, *, reminder: Reminder, at: dt.datetime) -> None:
        super().__init__(data, auto_id=f"%s-{reminder.ref}")
        self.reminder = reminder
        tomorrow = reminder.school.day(at) + dt.timedelta(days=1)
        limits = {"min": tomorrow.isoformat(), "max": reminder.last_day.isoformat()}
        self.fields["until"].widget = forms.DateInput(attrs={"type": "date", "required": True, **limits})

    def clean_until(self) -> dt.date | None:
        text = self.cleaned_data["until"]
        try:
            return dt.date.fromisoformat(text) if text else None
        except ValueError:
            said = _("%(given)r is not a date. Enter it as 2026-11-20.") % {"given": text[:40]}
            raise forms.ValidationError(said) from None


class Languages(forms.Select):
    """Names each language in that language, and tells screen readers which it is."""

    def create_option(self, name: str, value: Any, *more: Any, **named: Any) -> dict[str, Any]:
        found = super().create_option(name, value, *more, **named)
        found["attrs"]["lang"] = str(value)
        return found


def _time_of_day(label: Any) -> forms.TimeField:
    wrong = gettext_lazy("Enter times of day as 21:00 and 07:00.")
    return forms.TimeField(
        label=label,
        widget=forms.TimeInput(format="%H:%M", attrs={"type": "time", "required": True}),
        error_messages={"required": wrong, "invalid": wrong},
    )


class Preferences(Form):
    email = Checkbox(gettext_lazy("By e-mail"))
    quiet_from = _time_of_day(gettext_lazy("No e-mail between"))
    quiet_until = _time_of_day(gettext_lazy("and"))
    time_zone = Text(
        gettext_lazy("Time zone (blank: the school's)"),
        widget=forms.TextInput(attrs={"placeholder": "America/Chicago"}),
    )
    language = Choice(gettext_lazy("Language of pages and e-mails"), settings.LANGUAGES, widget=Languages)

    def __init__(self, data: Any = None, **more: Any) -> None:
        super().__init__(data, **more)
        if len(settings.LANGUAGES) < 2:
            del self.fields["language"]


class LeadDays(Text):
    """Lead times in days as the user types them: None if blank, an empty list for never."""

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        if not text:
            return None
        if text == str(NEVER):
            return []
        try:
            return [int(each) for each in text.replace(",", " ").split()]
        except ValueError:
            said = _("cannot read “%(given)s”. Enter days such as 60, 30, 7.") % {"given": text[:40]}
            raise forms.ValidationError(said) from None


class Days(Form):
    """A school's lead times; a blank field means the default."""

    def __init__(self, data: Any = None, *, school: School) -> None:
        own = dict(LeadTimes.objects.filter(school=school).values_list("kind", "days"))
        written = {kind: ", ".join(map(str, days)) or NEVER for kind, days in own.items()}
        super().__init__(data, auto_id=f"{school.slug}-%s", initial=written)
        self.school = school
        for kind, days in leads.DEFAULTS.items():
            common = forms.TextInput(attrs={"placeholder": ", ".join(map(str, days))})
            self.fields[kind] = LeadDays(KINDS[kind], widget=common)

    def refuse(self, message: str, place: str = "") -> None:
        super().refuse(message, place.removeprefix("days."))


@signed_in("GET")
def own(request: SignedIn) -> HttpResponse:
    """Upcoming expirations of the user and of the user's students."""
    return _shown(request, timezone.now())


def _shown(request: SignedIn, at: dt.datetime, form: Form | None = None, **more: Any) -> HttpResponse:
    """The user's reminders, with the form that had errors, if any."""
    user = request.user
    told = {
        "reminders": [
            {
                "own": each,
                "last": day(each.reminder.last_day),
                "snoozed": each.snoozed_until and day(each.snoozed_until),
                "form": form
                if isinstance(form, Postpone) and form.reminder == each.reminder
                else Postpone(reminder=each.reminder, at=at),
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
        "preferences": sent_or_new(form, Preferences, initial=preferences.as_json(preferences.of(user))),
        "has_calendar": hasattr(user, "calendar_feed"),
        "administers": list(access.schools(user).order_by("pk")),
        **more,
    }
    return show(request, "training/reminders.html", told, status=form.status if form else 200)


@signed_in("POST")
def act(request: SignedIn, ref: uuid.UUID) -> HttpResponse:
    """Mark a reminder as read, or snooze it until a day."""
    user, at = request.user, timezone.now()
    reminder = coming.find(user, ref, at)
    form = Postpone.bind(request, reminder=reminder, at=at)
    if form.is_valid() and not form.cleaned_data["until"]:
        coming.mark_read(user, reminder, at)
    elif form.submit(lambda until: coming.snooze(user, reminder, until, at)):
        said = _("Postponed until %(day)s.") % {"day": day(form.cleaned_data["until"])}
        flash.success(request, said)
    else:
        return _shown(request, at, form)
    return redirect("reminders")


@signed_in("POST")
def read_notice(request: SignedIn, notice: int) -> HttpResponse:
    """Mark a notice as read and go to its page."""
    read = notices.mark_read(request.user, notice, timezone.now())
    if read.kind in (Notice.Kind.RECORD_CHANGED, Notice.Kind.PERSON_CHANGED):
        return redirect("changes", read.student.ref)
    return redirect("lesson", read.student.ref, read.about)


@signed_in("POST")
def prefer(request: SignedIn) -> HttpResponse:
    """Save the reminder settings."""
    user = request.user

    def prefer(language: str = "", **given: Any) -> None:
        preferences.set_for(user, language=language or preferences.of(user).language, **given)

    form = Preferences.bind(request)
    if not form.submit(prefer):
        return _shown(request, timezone.now(), form)
    flash.success(request, _("Preferences saved."))
    return redirect("reminders")


@signed_in("POST")
def calendar(request: SignedIn) -> HttpResponse:
    """Create a calendar link, which is shown once, or turn it off."""
    user, at = request.user, timezone.now()
    if text_of(request, "close"):
        calendars.revoke(user)
        flash.success(request, _("Calendar link turned off."))
        return redirect("reminders")
    secret = calendars.create(user, at)
    return _shown(request, at, address=calendars.address(secret), has_calendar=True)


@require_safe
@never_cache
def feed(request: HttpRequest, secret: str) -> HttpResponse:
    """The iCalendar file, for anyone who has the secret link."""
    found = calendars.read(secret, timezone.now())
    if found is None:
        raise Http404("no calendar")
    response = HttpResponse(found, content_type="text/calendar; charset=utf-8")
    response["Content-Disposition"] = 'inline; filename="training-record.ics"'
    response["X-Robots-Tag"] = "noindex"
    return response


@signed_in("GET")
def ahead(request: SignedIn) -> HttpResponse:
    """The reminders that the user's schools will get in the next 30 days."""
    return _ahead(request)


def _ahead(request: SignedIn, form: Days | None = None) -> HttpResponse:
    user, at = request.user, timezone.now()
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
                "form": form if form and form.school == school else Days(school=school),
                "not_sent": failures.deliveries(school),
                "not_worked_out": failures.records(school),
            }
        )
    told = {"schools": shown, "days": coming.DAYS}
    return show(request, "training/reminders_ahead.html", told, status=form.status if form else 200)


@signed_in("POST")
def set_lead_times(request: SignedIn, school: str) -> HttpResponse:
    """Set the school's lead times; a blank one goes back to the default."""
    found = next((each for each in access.schools(request.user) if each.slug == school), None)
    if found is None:
        raise Http404("no school of that name that you administer")
    form = Days.bind(request, school=found)
    if not form.submit(lambda **days: leads.set_several(found, days, at=timezone.now())):
        return _ahead(request, form)
    flash.success(request, _("Lead times saved. Future reminders use them."))
    return redirect("reminders-ahead")
