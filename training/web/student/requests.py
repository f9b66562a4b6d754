"""A student's requests for a lesson, a correction or a release, with the answers of the instructors."""

import uuid
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from training.models import StudentRequest
from training.presenters.days import day
from training.services.errors import Refused
from training.services.people import requests
from training.web.shared import refusals
from training.web.shared.forms import Choice, Day, Form, Lines, posted
from training.web.shared.opening import SignedIn, signed_in
from training.web.shared.report_presenter import State
from training.web.student.pages import Opened, open_record

KINDS = {
    requests.Kind.LESSON: gettext_lazy("A lesson"),
    requests.Kind.RELEASE: gettext_lazy("A solo release"),
}
_STATES = {
    requests.State.OPEN: ("open", "?", gettext_lazy("Waiting for an answer")),
    requests.State.ACCEPTED: ("yes", "✓", gettext_lazy("Accepted")),
    requests.State.DECLINED: ("no", "✗", gettext_lazy("Declined")),
    requests.State.WITHDRAWN: ("none", "–", gettext_lazy("Withdrawn")),
}


class Ask(Form):
    """Ask for a lesson or a release on a day."""

    id = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    kind = Choice(gettext_lazy("What you ask for"), KINDS.items())
    on = Day(gettext_lazy("Day"), widget=forms.TextInput(attrs={"type": "date"}))
    text = Lines(
        gettext_lazy("For your instructor"),
        max_length=requests.MOST_TEXT,
        help_text=gettext_lazy("such as the time of day, the route, or what you want to practice"),
        widget=forms.Textarea(attrs={"rows": 3}),
    )


class AskToCorrect(Form):
    """Ask for the correction of a signed lesson."""

    id = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    lesson = forms.UUIDField(widget=forms.HiddenInput)
    text = Lines(
        gettext_lazy("What is wrong"), max_length=requests.MOST_TEXT, widget=forms.Textarea(attrs={"rows": 3})
    )


@signed_in("GET", "POST")
def listed(request: SignedIn, ref: uuid.UUID) -> HttpResponse:
    """The requests with their answers; the student also asks here. ``?lesson=`` asks for its correction."""
    opened = open_record(request, ref, "requests")
    corrects = "lesson" in request.GET or "lesson" in (posted(request) or ())
    form = _form(request, corrects)
    if request.method == "POST" and form.submit(lambda **sent: _ask(opened, corrects, sent)):
        messages.success(request, _("Request sent to your instructor."))
        return redirect("requests", ref=ref)
    rows = [shown(each) for each in requests.listed(opened.student)[:50]]
    told = opened.told("requests", requests=rows, form=form if opened.own else None, corrects=corrects)
    return render(request, "training/student/requests.html", told, status=form.status)


def _form(request: SignedIn, corrects: bool) -> Form:
    if not corrects:
        return Ask.bind(request)
    return AskToCorrect.bind(request, initial={"lesson": request.GET.get("lesson", "")})


def _ask(opened: Opened, corrects: bool, sent: dict[str, Any]) -> requests.Asked:
    kind = {"kind": requests.Kind.CORRECTION} if corrects else {}
    return requests.ask(opened.student, **{**sent, **kind}, by=opened.user, at=opened.at, via="web")


def shown(row: StudentRequest) -> dict[str, Any]:
    """A request in words."""
    name, mark, said = _STATES[requests.State(row.state)]
    return {
        "row": row,
        "words": requests.words(row),
        "state": State(name, mark, str(said)),
        "asked": day(row.student.school.day(row.at)),
        "answered": day(row.student.school.day(row.answered_at)) if row.answered_at else "",
        "open": row.state == requests.State.OPEN,
    }


@signed_in("POST")
def withdraw(request: SignedIn, ref: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """Withdraw an open request."""
    opened = open_record(request, ref, "requests")
    try:
        requests.withdraw(opened.student, entry, by=opened.user, at=opened.at, via="web")
    except Refused as problem:
        messages.error(request, " ".join(refusals.words(problem)))
    else:
        messages.success(request, _("Request withdrawn."))
    return redirect("requests", ref=ref)
