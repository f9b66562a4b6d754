"""Requests of students and who flies today, for Today, where the instructor answers."""

import datetime as dt
import uuid
from collections.abc import Mapping

from django import forms
from django.contrib import messages
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from syllabus.engine.errors import InputError
from training.models import SoloRelease, Student, StudentRequest
from training.services.errors import NotFound, Refused
from training.services.people import requests
from training.web.instructor.opening import Taught, taught
from training.web.shared import refusals
from training.web.shared.forms import Form, Lines, Text

_WORDS = {
    requests.State.ACCEPTED: gettext_noop("Request accepted. The student gets an e-mail."),
    requests.State.DECLINED: gettext_noop("Request declined. The student gets an e-mail."),
}


class Answer(Form):
    state = Text("")
    answer = Lines("", max_length=requests.MOST_TEXT, widget=forms.Textarea)


def of(students: Mapping[int, Student], at: dt.datetime) -> tuple[list[StudentRequest], set[int]]:
    """The open requests, the oldest first, and who has an accepted request for today. One query."""
    near = at.date() - dt.timedelta(days=1), at.date() + dt.timedelta(days=1)
    accepted = Q(state=requests.State.ACCEPTED, on__range=near)
    rows = StudentRequest.objects.filter(accepted | Q(state=requests.State.OPEN), student__in=students)
    opened, flying = [], set()
    for each in rows.select_related("lesson").order_by("at", "pk"):
        each.student = students[each.student_id]
        if each.state == requests.State.OPEN:
            opened.append(each)
        elif each.on == each.student.school.day(at):
            flying.add(each.student_id)
    return opened, flying


def releases(students: Mapping[int, Student], at: dt.datetime) -> tuple[list[SoloRelease], set[int]]:
    """The solo releases to decide on, before their flight is over, and who is released today. One query."""
    rows = SoloRelease.objects.filter(
        Q(decision__isnull=True) | Q(decision__ends_at__gt=at), student__in=students, end__isnull=True
    )
    asked, flying = [], set()
    for each in rows.select_related("decision").order_by("at", "pk"):
        each.student = students[each.student_id]
        off, on = (dt.datetime.fromisoformat(each.flight[key]) for key in ("off", "on"))
        if each.state(at) == SoloRelease.State.RELEASED and each.student.school.day(
            off
        ) == each.student.school.day(at):
            flying.add(each.student_id)
        elif each.state(at) == SoloRelease.State.REQUESTED and on > at:
            asked.append(each)
    return asked, flying


@taught("POST")
def answer(request: HttpRequest, whose: Taught, entry: uuid.UUID) -> HttpResponse:
    """Accept or decline a request. An accepted correction leads to the lesson, where it is corrected."""
    sent = Answer.read(request)
    said = {"state": sent.get("state", ""), "text": sent.get("answer", "")}
    try:
        row = requests.answer(whose.student, entry, **said, **whose.acting)
    except NotFound:
        raise
    except InputError as wrong:
        messages.error(request, _("Not answered: the answer %(wrong)s.") % {"wrong": wrong.errors[0].message})
    except Refused as problem:
        messages.error(request, " ".join(refusals.words(problem)))
    else:
        messages.success(request, _(_WORDS[requests.State(row.state)]))
        if row.state == requests.State.ACCEPTED and row.lesson_id:
            return redirect("lesson-sealed", ref=whose.student.ref, entry=row.lesson_id)
    return redirect("today")
