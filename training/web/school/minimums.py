"""What the school asks for beyond the law: listed, added, ended; never deleted."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from syllabus import rulebook
from syllabus.courses import plain
from syllabus.dated import read_text
from syllabus.engine.errors import RuleDataError
from syllabus.engine.kinds import KINDS
from syllabus.engine.reading import Faults
from syllabus.models import SchoolMinimum
from training.services import minimums
from training.services.errors import Conflict, NotAllowed
from training.services.minimums import MinimumError
from training.web.school import opening
from training.web.school.opening import Opened, administered
from training.web.shown import day

FIELDS = ("milestone", "code", "kind", "params", "says", "note", "starts", "ends")


@require_http_methods(["GET", "HEAD", "POST"])
@administered
def listed(opened: Opened) -> HttpResponse:
    """GET: the minimums. POST: one more."""
    if opened.request.method != "POST":
        return _page(opened, {}, {"starts": opened.today.isoformat()})
    sent = {key: str(opened.request.POST.get(key, "")).strip() for key in FIELDS}
    faults = Faults()
    for key, words in (
        ("code", _("is blank; enter a short name, such as dual")),
        ("says", _("is blank; describe the requirement")),
    ):
        if not sent[key]:
            faults.add(key, words)
    if sent["milestone"] not in rulebook.current().milestones:
        faults.add("milestone", _("choose a milestone"))
    if sent["kind"] not in KINDS:
        faults.add("kind", _("choose a kind of requirement"))
    params = _params(faults, sent["params"])
    starts = opening.day(faults, "starts", sent["starts"], needed=True)
    ends = opening.day(faults, "ends", sent["ends"])
    if not faults:
        fields = {**sent, "params": params, "starts": starts, "ends": ends}
        try:
            minimums.add(opened.school.slug, fields, by=opened.user)
        except MinimumError as problem:
            faults.extend(problem.faults)
        except (Conflict, NotAllowed) as refused:
            faults.add("", str(refused))
        else:
            messages.success(
                opened.request,
                _("Minimum added, in force from %(day)s.") % {"day": day(starts)},
            )
            return redirect("school-minimums", opened.school.slug)
    return _page(opened, opening.by_field(faults), sent, 422)


def _params(faults: Faults, text: str) -> dict[str, Any]:
    """Parameters as a rule's file writes them, a line each: ``counts: dual``."""
    try:
        found = plain(read_text(text, "line", "a parameter is written 'counts: dual'"))
    except RuleDataError as problem:
        for each in problem.faults:
            faults.add("params", f"{each.place}: {each.message}")
        return {}
    return found if isinstance(found, dict) else {}


def _page(opened: Opened, faults: dict[str, str], sent: dict[str, str], status: int = 200) -> HttpResponse:
    milestones = rulebook.current().milestones
    rows = SchoolMinimum.objects.filter(school_ref=opened.school.slug).order_by("milestone", "code", "starts")
    today = opened.today
    return opened.page(
        "minimums",
        "minimums",
        status=status,
        rows=[
            {
                "row": each,
                "milestone": milestones[each.milestone].title
                if each.milestone in milestones
                else each.milestone,
                "starts": day(each.starts),
                "ends": day(each.ends),
                "over": each.ends is not None and each.ends < today,
                "endable": each.ends is None or each.ends > today,
            }
            for each in rows
        ],
        milestones=[(each.id, each.title) for each in milestones.values()],
        kinds=[(name, name.replace("_", " ")) for name in sorted(KINDS)],
        faults=faults,
        sent=sent,
        today_text=today.isoformat(),
    )


@require_POST
@administered
def end(opened: Opened, pk: int) -> HttpResponse:
    """Give a minimum its last day."""
    faults = Faults()
    ends = opening.day(faults, "ends", str(opened.request.POST.get("ends", "")))
    if not faults:
        try:
            here = SchoolMinimum.objects.filter(school_ref=opened.school.slug)
            found = minimums.end(here.get(pk=pk).pk, ends, by=opened.user, at=opened.at)
        except SchoolMinimum.DoesNotExist:
            return _page(opened, {"": _("There is no such minimum at this school.")}, {}, 404)
        except MinimumError as problem:
            faults.extend(problem.faults)
        except (Conflict, NotAllowed) as refused:
            faults.add("", str(refused))
        else:
            messages.success(
                opened.request,
                _("%(minimum)s ends on %(day)s. It stays in force until then.")
                % {"minimum": found.code, "day": day(found.ends)},
            )
            return redirect("school-minimums", opened.school.slug)
    return _page(opened, {"": "; ".join(map(str, faults))}, {"starts": opened.today.isoformat()}, 422)
