"""The home page, the list of students, a student's milestones, and the rules."""

import datetime as dt
import uuid
from collections.abc import Mapping

from django import forms
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from syllabus.engine.errors import NotInForce
from syllabus.engine.record import reading
from syllabus.engine.record.reading import Errors, Object
from syllabus.engine.rules.question import READERS, Context
from syllabus.engine.rules.report import UNVERIFIED
from syllabus.law import rulebook
from training import reports
from training.models import Enrolment, Role, Student
from training.services import access
from training.services.records import page_cache
from training.web.instructor.opening import teaches
from training.web.shared.forms import Form, Text
from training.web.shared.opening import show, signed_in
from training.web.shared.report_presenter import day
from training.web.student import page_cache as parts

AT_ONCE = 25
#: What the form on the student's page can ask about, in its order: key, label, example.
FIELDS = (
    ("on", _("Day"), "2026-11-20"),
    ("aircraft_model", _("Aircraft model"), "C172"),
    ("category", _("Category of aircraft"), "airplane"),
    ("class", _("Class of aircraft"), "single-engine land"),
    ("route", _("Route"), "KGRB KMTW"),
    ("airport", _("Airport (night)"), "KGRB"),
    ("area", _("Class B area"), "Chicago"),
    ("application_date", _("Day of application"), "2026-11-20"),
)
_QUERY: Mapping[str, reading.Read] = {"on": reading.day, **READERS}


class Question(Form):
    """A question about another day, airplane or flight than today's; blank fields are left out."""

    def __init__(self, sent: QueryDict) -> None:
        super().__init__({key: text for key, text in sent.dict().items() if str(text).strip()})
        for key, label, example in FIELDS:
            self.fields[key] = Text(label, widget=forms.TextInput(attrs={"placeholder": example}))

    def asked(self, today: dt.date) -> tuple[dt.date, Context]:
        """The day and context asked about; today and an empty context if the form has errors."""
        errors = Errors()
        fields = Object(errors, self.data, "")
        found = {key: fields.take(key, read) for key, read in _QUERY.items()}
        fields.done()
        for each in errors:
            self.refuse(each.message, each.place)
        if self.errors:
            return today, Context()
        on = found.pop("on") or today
        return on, Context(klass=found.pop("class"), **found)


@require_safe
@never_cache
def home(request: HttpRequest) -> HttpResponse:
    """For visitors an introduction; else the instructor's day, the school, or the student's progress."""
    if not request.user.is_authenticated:
        return show(request, "training/welcome.html", {})
    if teaches(request.user):
        return redirect("today")
    if Role.Kind.ADMINISTRATOR in access.roles(request.user):
        return redirect("schools")
    return _board(request)


@signed_in("GET")
def board(request: HttpRequest) -> HttpResponse:
    """All students whom the user may see, with their milestones in short."""
    return _board(request)


def _board(request: HttpRequest) -> HttpResponse:
    """One page of the students; each reading is logged."""
    at = timezone.now()
    assert request.user.is_authenticated
    seen = access.visible_students(request.user, on=at.date()).select_related("school").order_by("name", "pk")
    page = Paginator(seen, AT_ONCE).get_page(request.GET.get("page"))
    if page.paginator.count == 1:
        only = page.object_list[0]
        if only.user_id == request.user.pk or access.guards(request.user, only, on=at.date()):
            return redirect("standing", only.ref)
    listed = list(page.object_list)
    courses = Enrolment.objects.filter(student__in=listed, course_version__isnull=False).exists()
    asked = [(each, each.school.day(at)) for each in listed]
    cells = page_cache.parts(asked, "row", parts.COURSES if courses else "")
    access.log_each(request.user, access.schools_of(listed), access.READ, "eligibility", via="web", at=at)
    shown = {
        "page": page,
        "students": [{"student": each, "cells": drawn} for each, drawn in zip(listed, cells, strict=True)],
        "several_schools": len({each.school_id for each in listed}) > 1,
        "courses": courses,
        "titles": [each.title for each in rulebook.current().milestones.values()],
        "today": day(listed[0].school.day(at) if listed else at.date()),
        "administers": Role.Kind.ADMINISTRATOR in access.roles(request.user),
    }
    return show(request, "training/home.html", shown)


@signed_in("GET")
def student(request: HttpRequest, ref: uuid.UUID) -> HttpResponse:
    """Every milestone of one student in full, for the day and flight of the query."""
    at = timezone.now()
    opened = access.opened(request.user, ref, what="eligibility of every milestone", via="web", at=at)
    found, today = opened.student, opened.student.school.day(at)
    form = Question(request.GET)
    on, context = form.asked(today)
    try:
        shown = _rules(found, on, context, today)
    except NotInForce as problem:
        form.refuse(str(problem), "on")
        on, context = today, Context()
        shown = _rules(found, on, context, today)
    told = {
        "cached": shown,
        "student": found,
        "guardian": opened.as_guardian,
        "on": day(on),
        "is_today": on == today,
        "form": form,
        "model": context.aircraft_model or found.training_model,
    }
    return show(request, "training/student.html", told, status=form.status)


def _rules(student: Student, on: dt.date, context: Context, today: dt.date) -> str:
    """Every milestone in full; cached if the question is about today only. Raises: NotInForce."""
    if (on, context) == (today, Context()):
        return page_cache.part(student, "rules", on)
    return parts.rules(student, on, overview=reports.overview(student, on, context=context))


@require_safe
def milestones(request: HttpRequest) -> HttpResponse:
    """The requirements of each milestone in force today, with citations."""
    today = timezone.now().date()
    listed = [
        {
            "milestone": milestone,
            "anchor": milestone.id.replace(".", "-"),
            "requirements": [
                {"rule": rule, "notes": [each for each in (rule.note, UNVERIFIED[rule.verified]) if each]}
                for rule in (requirement.on(today) for requirement in milestone.requirements)
            ],
        }
        for milestone in rulebook.current().milestones.values()
    ]
    told = {"milestones": listed, "today": day(today), "rulebook": rulebook.current().id}
    return show(request, "training/milestones.html", told)


@require_safe
def not_covered(request: HttpRequest) -> HttpResponse:
    """What a "not covered" refusal means; the problem type in the API has this URL."""
    titles = [each.title for each in rulebook.current().milestones.values()]
    return show(request, "training/not_covered.html", {"titles": titles})
