"""The endorsements of one student, those needed next first; and of all students of an instructor."""

import datetime as dt
import json
from collections.abc import Mapping
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext, ngettext

from syllabus.engine.record import record as engine
from syllabus.engine.record.shapes import shape_of
from syllabus.law import endorsements as catalogue
from training.models import Revocation, Student
from training.presenters.days import day
from training.presenters.entry import rows, vouched
from training.reports import authorities
from training.reports.eligibility import record_of
from training.services import access
from training.services.endorsements import endorsements
from training.services.records import page_cache
from training.web.instructor.opening import Taught, taught, teaches
from training.web.shared.opening import SignedIn, show, signed_in
from training.web.student.endorsed import title_of
from training.web.student.gaps import SOON_DAYS

AT_ONCE = 50
#: What the page shows apart from an endorsement's other details.
_APART = ("kind", "given", "instructor", "expires")


@taught("GET")
def kinds(request: HttpRequest, whose: Taught) -> HttpResponse:
    """The kinds of endorsement that can be given, those needed next first; and those on record."""
    whose.log(access.READ, "endorsements")
    student = whose.student
    found = json.loads(page_cache.part(student, "endorsements", whose.today))
    own = authorities.of(student)
    listed = [each for each in catalogue.current().kinds.values() if each.authority in own]
    told = {
        "student": student,
        "milestone": found["milestone"],
        "needed": [each for each in listed if each.kind in found["needed"]],
        "others": [each for each in listed if each.kind not in found["needed"]],
        "standing": _standing(whose, found["last"]),
        "today": day(whose.today),
    }
    return show(request, "training/instructor/endorse.html", told)


def _standing(whose: Taught, last: Mapping[str, str | None]) -> list[dict[str, Any]]:
    """Every endorsement on record, newest first, whether given here or imported."""
    by_id = {each.id: each for each in record_of(whose.student).endorsements}
    standing = []
    for row, seal, revocation in endorsements.listed(whose.student):
        given = by_id.get(row.entry_id)
        if given is None:
            continue
        said = shape_of(engine.Endorsement).write(given)
        standing.append(
            {
                "title": title_of(row.kind),
                "given": day(row.given),
                "until": _revoked(revocation, whose.student)
                if revocation
                else _until(last, given, whose.today),
                "ended": bool(revocation),
                "by": given.instructor.name if given.instructor else gettext("no one named"),
                "wording": seal.wording if seal else "",
                "said": [] if seal else rows(engine.Endorsement, said, whose.zone, without=_APART),
                "vouched": vouched(given.provenance),
                "entry": row.entry_id if seal and not revocation else None,
            }
        )
    return standing


def _until(last: Mapping[str, str | None], given: engine.Endorsement, on: dt.date) -> str:
    text = last.get(given.id)
    return ends(dt.date.fromisoformat(text), on) if text else gettext("No expiration.")


def ends(last: dt.date, on: dt.date) -> str:
    """When an endorsement ends or ended: ``Ends 10 Jul 2026, in 12 days.``"""
    left = (last - on).days
    said = {"day": day(last), "left": left}
    if left < 0:
        return gettext("Ended %(day)s.") % said
    if left == 0:
        return gettext("Ends today, %(day)s.") % said
    return ngettext("Ends %(day)s, in %(left)d day.", "Ends %(day)s, in %(left)d days.", left) % said


def _revoked(revocation: Revocation, student: Student) -> str:
    return gettext("Revoked on %(day)s by %(who)s because: %(reason)s") % {
        "day": day(student.school.day(revocation.at)),
        "who": revocation.by,
        "reason": revocation.reason,
    }


@signed_in("GET")
def every(request: SignedIn) -> HttpResponse:
    """What ends soon and what is needed next, for the students whom the user teaches. Readings are logged."""
    if not teaches(request.user):
        return redirect("home")
    at = timezone.now()
    seen = Student.objects.filter(access.RELATIONS["instructs"](request.user.pk, at.date()))
    page = Paginator(seen.select_related("school").order_by("name", "pk"), AT_ONCE).get_page(
        request.GET.get("page")
    )
    listed: list[Student] = list(page.object_list)
    parts = page_cache.parts([(each, each.school.day(at)) for each in listed], "endorsements")
    access.log_each(request.user, access.schools_of(listed), access.READ, "endorsements", via="web", at=at)
    students = [
        _in_short(each, json.loads(told), each.school.day(at))
        for each, told in zip(listed, parts, strict=True)
    ]
    told = {"page": page, "students": sorted(students, key=lambda each: each["first"])}
    return show(request, "training/instructor/endorsements.html", told)


def _in_short(student: Student, found: Mapping[str, Any], on: dt.date) -> dict[str, Any]:
    days = {entry: dt.date.fromisoformat(text) for entry, text in found["last"].items() if text}
    soon = sorted(
        (last, found["titles"][entry]) for entry, last in days.items() if 0 <= (last - on).days <= SOON_DAYS
    )
    listed = catalogue.current().kinds
    return {
        "student": student,
        "first": soon[0][0] if soon else dt.date.max,
        "ending": [(title, ends(last, on)) for last, title in soon],
        "milestone": found["milestone"],
        "needed": [listed[each] for each in found["needed"] if each in listed],
    }
