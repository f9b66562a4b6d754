"""One page that finds students, lessons, people and aircraft by words."""

import datetime as dt
from typing import Any

from django.http import HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from training.models import Aircraft, LessonRecord, Role, Student, User
from training.services.school import search
from training.services.school.search import Found
from training.web.people.people import role_name
from training.web.shared.forms import Search
from training.web.shared.opening import SignedIn, show, signed_in
from training.web.shared.report_presenter import day


@signed_in("GET")
def page(request: SignedIn) -> HttpResponse:
    """Everything that matches all words, each with a link to its page."""
    form, asked = Search.of(
        request,
        _("Search (all words must match)"),
        most=search.MOST_TEXT,
        help_text=_("A name, a lesson’s code, title or date (2026-03-02), or a registration"),
        attrs={} if request.GET.get("q") else {"autofocus": True},
    )
    found = search.find(request.user, asked, via="web", at=timezone.now())
    schools = {each.school_id for each in found.students} | {each.school_id for each in found.people}
    schools |= {each.school_id for each in found.aircraft}
    told = {
        "form": form,
        "asked": asked,
        "found": found,
        "several": len(schools) > 1,
        "students": [_student(each, found, request.user) for each in found.students],
        "lessons": [_lesson(each, found) for each in found.lessons],
        "people": [_person(each) for each in found.people],
        "aircraft": [_aircraft(each, found) for each in found.aircraft],
        "searches_people": bool(found.administers),
        "most": search.MOST,
    }
    return show(request, "training/search.html", told)


def _student(each: Student, found: Found, user: User) -> dict[str, Any]:
    """The student's URL for this user: an instructor's or the school's page if they may write the record."""
    address = reverse("standing", args=(each.ref,))
    if each.pk in found.writable and each.user_id != user.pk:
        # An instructor who is also an administrator gets the school's page, which exists for every student.
        if each.school_id in found.administers:
            address = reverse("school-student", args=(each.school.slug, each.ref))
        elif each.school_id in found.instructs:
            address = reverse("teach", args=(each.ref,))
    return {
        "name": each.name or _("No name on record"),
        "address": address,
        "school": each.school.name,
        "about": each.training_model,
    }


def _lesson(each: LessonRecord, found: Found) -> dict[str, Any]:
    said, student = each.content, each.student
    draft = each.state == LessonRecord.State.DRAFT
    dated = (said.get("flight") or {}).get("date") or (said.get("ground") or {}).get("date")
    on = dt.date.fromisoformat(dated) if dated else student.school.day(each.created_at)
    name = "lesson-sheet" if draft and student.school_id in found.instructs else "lesson"
    title = getattr(each, "title", None)
    return {
        "title": " ".join(filter(None, (each.lesson, title))) or _("A lesson outside the course"),
        "address": reverse(name, args=(student.ref, each.pk)),
        "student": student.name or _("No name on record"),
        "instructor": str(each.instructor),
        "day": day(on),
        "draft": draft,
    }


def _person(each: Role) -> dict[str, Any]:
    return {
        "name": str(each.user),
        "address": reverse("school-person", args=(each.school.slug, each.pk)),
        "role": role_name(each),
        "email": each.user.email,
        "school": each.school.name,
    }


def _aircraft(each: Aircraft, found: Found) -> dict[str, Any]:
    at_desk = each.school_id in found.administers
    return {
        "registration": each.registration,
        "model": each.model,
        "device": each.device,
        "school": each.school.name,
        "address": reverse("school-aircraft", args=(each.school.slug,)) if at_desk else "",
    }
