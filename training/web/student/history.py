"""The record's changes between two days, and the download of the whole record as one file."""

import datetime as dt
import uuid
import zoneinfo
from collections.abc import Mapping

from django import forms
from django.contrib import messages
from django.core.exceptions import ImproperlyConfigured
from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from syllabus.engine.errors import NotInForce
from training.models import School
from training.reports.changes import changes as changes_of
from training.services import access
from training.services.transfer import handover
from training.web.shared.forms import Day, Form
from training.web.shared.opening import SignedIn, signed_in
from training.web.student.pages import open_record

DAYS_SHOWN = 30


class Between(Form):
    """The two days."""

    def __init__(self, sent: Mapping[str, str]) -> None:
        super().__init__(sent)
        for name, label in (("from", _("From")), ("to", _("To"))):
            self.fields[name] = Day(label, required=True, widget=forms.TextInput(attrs={"type": "date"}))

    def clean(self) -> None:
        first, last = (self.cleaned_data.get(name) for name in ("from", "to"))
        if first and last and first > last:
            self.add_error("from", _("The first day is after the last day."))


@signed_in("GET")
def changes(request: SignedIn, ref: uuid.UUID) -> HttpResponse:
    """The changes from the start of one day to the end of another; by default the last month."""
    opened = open_record(request, ref, "changes")
    lately = {"from": opened.on - dt.timedelta(days=DAYS_SHOWN), "to": opened.on}
    begins = {} if "to" in request.GET else {name: each.isoformat() for name, each in lately.items()}
    form = Between({**begins, **request.GET.dict()})
    found = None
    if form.is_valid():
        school = opened.student.school
        night = _begin(school, form.cleaned_data["to"] + dt.timedelta(days=1)) - dt.datetime.resolution
        ends = min(night, opened.at)
        try:
            found = changes_of(opened.student, min(_begin(school, form.cleaned_data["from"]), ends), ends)
        except NotInForce as problem:
            form.refuse(str(problem), "from")
    told = opened.told(
        "changes",
        form=form,
        found=found,
        origins=opened.student.hand_overs.annotate(sealed=Count("entries")),
    )
    return render(request, "training/student/changes.html", told, status=form.status)


def _begin(school: School, day: dt.date) -> dt.datetime:
    return dt.datetime.combine(day, dt.time(), zoneinfo.ZoneInfo(school.time_zone))


@signed_in("POST")
def hand_over(request: SignedIn, ref: uuid.UUID) -> HttpResponse:
    """The file of the whole record, for those who may read it."""
    at = timezone.now()
    student = access.student(request.user, ref, on=at.date())
    try:
        raw = handover.make(student, by=request.user, at=at, via="web")
    except ImproperlyConfigured:
        messages.error(request, _("This server has no signing key, so no record can be exported yet."))
        return redirect("changes", ref=ref)
    name = f"training-record-{student.school.day(at).isoformat()}.zip"
    return HttpResponse(
        raw,
        content_type="application/zip",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
