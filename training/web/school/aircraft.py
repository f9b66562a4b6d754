"""The school's aircraft: list and add them, and add inspections and documents."""

import datetime as dt
from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from syllabus.engine.record.record import DEVICES
from syllabus.law import airworthiness
from training.models import Aircraft
from training.reports.airworthiness import Held, by_aircraft
from training.services.fleet import aircraft as fleets
from training.services.fleet import groundings
from training.services.school import glance
from training.web.school.groundings import shown as words_of
from training.web.shared.forms import Choice, Day, Form, Text, sent_or_new
from training.web.shared.opening import Opened, administered
from training.web.shared.report_presenter import State, day

#: How a rule's text was checked, where nobody here has read it.
HOW_KNOWN = {"second-hand": _("second-hand"), "memory": _("from memory")}
#: Initial values of the form: what most schools fly.
MOST_COMMON = {"category": "airplane", "klass": "single-engine land"}


class Craft(Form):
    places = {"class": "klass"}
    refused_at = "registration"

    registration = Text(_("Registration or device name"), max_length=40)
    model = Text(_("Model, as in flight entries"), max_length=60, help_text=_("such as C172"))
    category = Text(_("Category"), max_length=40)
    klass = Text(_("Class"), max_length=60)
    device = Choice(_("Training device"), [("", _("not a device")), *((each, each) for each in DEVICES)])


class Check(Form):
    """An inspection of an aircraft, or a document issued for it."""

    kind = Choice(_("Inspection or document"))
    done = Day(_("Done or issued on (such as 2026-11-29)"), required=True)
    expires = Day(
        _("Expires on, if printed on the document"),
        help_text=_(
            "Leave blank if the rule alone sets the date. A date here can only shorten the rule's period."
        ),
    )

    def __init__(self, data: Any = None, *, aircraft: int, today: dt.date) -> None:
        super().__init__(data, auto_id=f"%s-{aircraft}", initial={"done": today})
        self.aircraft = aircraft
        rules = airworthiness.current().in_force(today)
        self.offer("kind", [(rule.id, rule.params["title"]) for rule in rules])


@administered("GET", "POST")
def listed(opened: Opened) -> HttpResponse:
    """GET: the aircraft, each with its expirations. POST: add one."""
    form = Craft.bind(opened.request, initial=MOST_COMMON)
    if form.submit(lambda **sent: fleets.add(opened.school.slug, sent, by=opened.user)):
        return opened.done(
            gettext("%(aircraft)s added.") % {"aircraft": form.result.aircraft}, "school-aircraft"
        )
    return _page(opened, form)


@administered("POST")
def record(opened: Opened, pk: int) -> HttpResponse:
    """Add an inspection or a document; it replaces the earlier one of its kind."""
    craft = get_object_or_404(Aircraft, school=opened.school, pk=pk)
    form = Check.bind(opened.request, aircraft=pk, today=opened.today)
    if form.submit(lambda **sent: fleets.record(craft.pk, **sent, by=opened.user, at=opened.at)):
        made = form.result
        rule = airworthiness.current().on(made.kind, opened.today)
        last = airworthiness.last_day(rule, made.done, made.expires)
        said = gettext("%(aircraft)s: %(what)s valid through %(day)s.")
        named = {"aircraft": craft.registration, "what": rule.params["title"], "day": day(last)}
        return opened.done(said % named, "school-aircraft")
    return _page(opened, form)


def _page(opened: Opened, form: Craft | Check) -> HttpResponse:
    """The page with the form that was sent, if any, and the others new."""
    rules, by_hours = (
        kinds.in_force(opened.today) for kinds in (airworthiness.current(), airworthiness.by_hours())
    )
    aircraft, devices, grounded = [], [], groundings.open_at(opened.school)
    for craft, held in by_aircraft(opened.school, opened.today):
        if craft.device:
            devices.append(craft)
            continue
        mine = isinstance(form, Check) and form.aircraft == craft.pk
        known = {one.version.id for one in held}
        aircraft.append(
            {
                "row": craft,
                "grounded": words_of(grounded.get(craft.pk, [])),
                "held": [_shown(one, opened.today) for one in held],
                "missing": [rule.params["title"] for rule in rules if rule.id not in known],
                "form": form if mine else Check(aircraft=craft.pk, today=opened.today),
                "open": mine,
            }
        )
    return opened.page(
        "aircraft",
        "aircraft",
        status=form.status,
        aircraft=aircraft,
        devices=devices,
        rules=[(each, HOW_KNOWN.get(each.verified, "")) for each in (*rules, *by_hours)],
        by_hours=by_hours,
        form=sent_or_new(form, Craft, initial=MOST_COMMON),
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
    """The state of something with that last day: valid, days to go, or expired."""
    left = (last - today).days
    if left < 0:
        return State("no", "✗", gettext("expired"))
    if left > glance.AHEAD:
        return State("yes", "✓", gettext("valid"))
    if left == 0:
        return State("open", "◷", gettext("expires today"))
    said = ngettext("%(number)s day to go", "%(number)s days to go", left) % {"number": left}
    return State("open", "◷", said)
