"""Aircraft for the staff: grounded or open defects, and the return to service."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from training.models import Aircraft, Grounding
from training.presenters.days import moment
from training.services import texts
from training.services.fleet import aircraft as fleets
from training.services.fleet import groundings
from training.web.shared.forms import Choice, Form, Reason, sent_or_new
from training.web.shared.opening import SignedIn, View, show, signed_in

KINDS = {Grounding.Kind.GROUNDED: _("Grounded"), Grounding.Kind.DEFECT: _("Open defect")}


class Ground(Form):
    kind = Choice(_("What it is"), list(KINDS.items()))
    reason = Reason(_("Reason"), most=texts.MOST)


class Return(Form):
    reason = Reason(_("What was done"), most=texts.MOST)

    def __init__(self, data: Any = None, *, grounding: int) -> None:
        super().__init__(data, auto_id=f"done-{grounding}")
        self.grounding = grounding


def _opened(view: Callable[..., HttpResponse]) -> View:
    """Pass one of the aircraft of the schools where the user is on the staff; else 404."""

    @signed_in("GET", "POST")
    @wraps(view)
    def opened(request: SignedIn, pk: int, **more: Any) -> HttpResponseBase:
        rows = Aircraft.objects.filter(school__in=fleets.schools(request.user), device="")
        return view(request, get_object_or_404(rows.select_related("school"), pk=pk), **more)

    return opened


@signed_in("GET")
def listed(request: SignedIn) -> HttpResponse:
    """The aircraft of the user's schools, with what grounds them."""
    found = []
    for school in fleets.schools(request.user).order_by("name"):
        grounded = groundings.open_at(school)
        rows = Aircraft.objects.filter(school=school, device="")
        found.append((school, [(craft, shown(grounded.get(craft.pk, []))) for craft in rows]))
    return show(request, "training/school/fleet.html", {"schools": found})


def shown(rows: list[Grounding]) -> list[str]:
    """Groundings in words, such as ``Grounded: oil leak``."""
    return [f"{KINDS[Grounding.Kind(each.kind)]}: {each.reason}" for each in rows]


@_opened
def aircraft(request: SignedIn, craft: Aircraft) -> HttpResponse:
    """GET: what grounds the aircraft now, and what did. POST: ground it, or add a defect."""
    form = Ground.bind(request)
    at = timezone.now()
    if form.submit(lambda **sent: groundings.ground(craft.pk, **sent, by=request.user, at=at)):
        messages.success(request, " · ".join(shown([form.result])))
        return redirect("aircraft", craft.pk)
    return _page(request, craft, form)


@_opened
def end(request: SignedIn, craft: Aircraft, grounding: int) -> HttpResponse:
    """End a grounding or a defect, with what was done."""
    row = get_object_or_404(Grounding, aircraft=craft, pk=grounding)
    form = Return.bind(request, grounding=grounding)
    if form.submit(lambda reason: groundings.end(row, reason, by=request.user, at=timezone.now())):
        messages.success(request, gettext("Closed. It stays on file with both reasons."))
        return redirect("aircraft", craft.pk)
    return _page(request, craft, form)


def _page(request: SignedIn, craft: Aircraft, form: Ground | Return) -> HttpResponse:
    zone = craft.school.zone
    rows = []
    for each in craft.groundings.select_related("by", "ended_by"):
        mine = isinstance(form, Return) and form.grounding == each.pk
        rows.append(
            {
                "row": each,
                "words": shown([each])[0],
                "since": moment(each.at, zone),
                "ended": each.ended_at and moment(each.ended_at, zone),
                "form": form if mine else Return(grounding=each.pk),
            }
        )
    told = {"craft": craft, "rows": rows, "form": sent_or_new(form, Ground)}
    return show(request, "training/school/groundings.html", told, status=form.status)
