"""The school's aircraft: what of each ends when, one more of them, and what was done or issued."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_http_methods, require_POST

from syllabus import airworthiness
from syllabus.engine.reading import Faults
from syllabus.engine.record import DEVICES
from training.models import Aircraft
from training.reports.airworthiness import Held, by_aircraft
from training.services import aircraft as fleets
from training.services import glance
from training.services.aircraft import AircraftError
from training.services.errors import Conflict, NotAllowed
from training.web.school import opening
from training.web.school.opening import Opened, administered
from training.web.shown import State, day

FIELDS = ("registration", "model", "category", "klass", "device")
#: How the text of a rule is known where nobody here has read it itself.
HOW_KNOWN = {"second-hand": gettext_lazy("second-hand"), "memory": gettext_lazy("from memory")}
#: What a form begins with: what most schools fly.
MOST_COMMON = {"category": "airplane", "klass": "single-engine land"}


@require_http_methods(["GET", "HEAD", "POST"])
@administered
def listed(opened: Opened) -> HttpResponse:
    """GET: the aircraft, each with what ends of it. POST: one more."""
    if opened.request.method != "POST":
        return _page(opened)
    sent = _sent(opened, FIELDS)
    faults = Faults()
    try:
        added = fleets.add(opened.school.slug, sent, by=opened.user)
    except AircraftError as problem:
        faults.extend(problem.faults)
    except (Conflict, NotAllowed) as refused:
        faults.add("registration", str(refused))
    else:
        said = _("%(aircraft)s added.") % {"aircraft": added.aircraft}
        messages.success(opened.request, said)
        return redirect("school-aircraft", opened.school.slug)
    return _page(opened, faults=opening.by_field(faults), sent=sent, status=422)


@require_POST
@administered
def record(opened: Opened, pk: int) -> HttpResponse:
    """Something was done or issued of one of them; it takes the place of what stood of its kind."""
    craft = Aircraft.objects.filter(school=opened.school, pk=pk).first()
    if craft is None:
        raise Http404("no such aircraft at this school")
    sent = _sent(opened, ("kind", "done", "expires"))
    faults = Faults()
    done = opening.day(faults, "done", sent["done"], needed=True)
    expires = opening.day(faults, "expires", sent["expires"])
    if done is not None and not faults:
        try:
            made = fleets.record(craft.pk, sent["kind"], done, expires, by=opened.user, at=opened.at)
        except AircraftError as problem:
            faults.extend(problem.faults)
        except NotAllowed as refused:
            faults.add("", str(refused))
        else:
            rule = airworthiness.current().on(made.kind, opened.today)
            last = airworthiness.last_day(rule, made.done, made.expires)
            said = _("%(aircraft)s: %(what)s valid through %(day)s.")
            named = {"aircraft": craft.registration, "what": rule.params["title"], "day": day(last)}
            messages.success(opened.request, said % named)
            return redirect("school-aircraft", opened.school.slug)
    return _page(opened, of=craft.pk, faults=opening.by_field(faults), sent=sent, status=422)


def _sent(opened: Opened, keys: tuple[str, ...]) -> dict[str, str]:
    return {key: str(opened.request.POST.get(key, "")).replace("\x00", "").strip() for key in keys}


def _page(
    opened: Opened,
    *,
    of: int | None = None,
    faults: dict[str, str] | None = None,
    sent: dict[str, str] | None = None,
    status: int = 200,
) -> HttpResponse:
    """``of`` is the aircraft whose form was sent and has these faults; None is the form for one more."""
    kinds = airworthiness.current()
    rules = [kinds.on(name, opened.today) for name in kinds]
    aircraft, devices = [], []
    for craft, held in by_aircraft(opened.school, opened.today):
        if craft.device:
            devices.append(craft)
            continue
        mine = craft.pk == of
        aircraft.append(
            {
                "row": craft,
                "held": [_shown(one, opened.today) for one in held],
                "missing": [
                    rule.params["title"] for rule in rules if rule.id not in {one.version.id for one in held}
                ],
                "faults": faults if mine else {},
                "sent": sent if mine else {"done": opened.today.isoformat()},
                "open": mine,
            }
        )
    return opened.page(
        "aircraft",
        "aircraft",
        status=status,
        aircraft=aircraft,
        devices=devices,
        kinds=[(each.id, each.params["title"]) for each in rules],
        rules=[(rule.params["title"], rule, HOW_KNOWN.get(rule.verified, "")) for rule in rules],
        device_kinds=DEVICES,
        faults=faults if of is None else {},
        sent=sent if of is None and sent else MOST_COMMON,
    )


def _shown(held: Held, today: dt.date) -> dict[str, Any]:
    return {
        "title": held.says,
        "cite": held.version.cite.section,
        "done": day(held.check.done),
        "last": day(held.last),
        "by": held.check.by,
        "state": state(held.last, today),
    }


def state(last: dt.date, today: dt.date) -> State:
    """Whether what ends on a day stands, ends soon or is over, in words."""
    left = (last - today).days
    if left < 0:
        return State("no", "✗", _("expired"))
    if left > glance.AHEAD:
        return State("yes", "✓", _("valid"))
    if left == 0:
        return State("open", "◷", _("expires today"))
    said = ngettext("%(number)s day to go", "%(number)s days to go", left) % {"number": left}
    return State("open", "◷", said)
