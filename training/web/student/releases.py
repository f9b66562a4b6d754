"""Solo releases: the student asks, the instructor decides, either ends; the sheet to carry."""

import datetime as dt
import json
import uuid
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.debug import sensitive_post_parameters

from syllabus.engine.errors import InputError
from training.models import Role, SoloRelease, Student, User
from training.presenters.days import clock, day, moment
from training.services import access, signatures, texts
from training.services.errors import NotAllowed, Refused
from training.services.lessons import lesson_records
from training.services.releases import release_check, releases
from training.services.releases.release_check import Checked
from training.services.releases.releases import DECLINED, RELEASED, NotTheCheck
from training.services.signing import reauthentication
from training.web.shared import refusals, signing
from training.web.shared.forms import Form, Reason, text_of, texts_of
from training.web.shared.opening import SignedIn, signed_in
from training.web.shared.report_presenter import State
from training.web.student.pages import open_record
from training.web.student.plan import Plan, fields_of

STATES = {
    SoloRelease.State.REQUESTED: ("open", "◷", _("Requested")),
    SoloRelease.State.RELEASED: ("yes", "✓", _("Released")),
    SoloRelease.State.DECLINED: ("no", "✗", _("Declined")),
    SoloRelease.State.EXPIRED: ("no", "✗", _("Expired")),
    SoloRelease.State.ENDED: ("no", "✗", _("Ended")),
}


class End(Form):
    reason = Reason(_("Why it ends"), most=texts.MOST)


@dataclass(frozen=True, slots=True)
class Opened:
    """A student's record for these pages, with what the reader may do."""

    request: SignedIn
    student: Student
    at: dt.datetime
    user: User
    asks: bool
    signs: bool
    told: dict[str, Any]

    @property
    def acting(self) -> access.Acting:
        return {"by": self.user, "at": self.at, "via": "web"}

    @property
    def zone(self) -> dt.tzinfo:
        return self.student.school.zone

    def page(self, name: str, *, status: int = 200, **more: Any) -> HttpResponse:
        told = {**self.told, "asks": self.asks, "signs": self.signs, **more}
        return render(self.request, f"training/releases/{name}.html", told, status=status)


def _open(request: SignedIn, ref: uuid.UUID, what: str) -> Opened:
    found = open_record(request, ref, what)
    student, at, user = found.student, found.at, request.user
    instructs = Role.objects.filter(user=user, school=student.school, role=Role.Kind.INSTRUCTOR).exists()
    signs = instructs and found.found.may(access.WRITE)
    return Opened(request, student, at, user, found.found.may(access.PLAN), signs, found.told("releases"))


@signed_in("GET")
def listed(request: SignedIn, ref: uuid.UUID) -> HttpResponse:
    """The requests and releases, newest first."""
    opened = _open(request, ref, "solo releases")
    return opened.page("list", releases=[_row(opened, each) for each in releases.listed(opened.student)])


def _row(opened: Opened, release: SoloRelease) -> dict[str, Any]:
    flight = release.flight
    off, on = (dt.datetime.fromisoformat(flight[key]) for key in ("off", "on"))
    decision = getattr(release, "decision", None)
    name, mark, word = STATES[SoloRelease.State(release.state(opened.at))]
    return {
        "row": release,
        "state": State(name, mark, str(word)),
        "aircraft": flight["aircraft"].get("registration") or flight["aircraft"].get("model", ""),
        "route": release_check.route_in_words(flight),
        "day": day(off.astimezone(opened.zone).date()),
        "off": clock(off, opened.zone),
        "on": clock(on, opened.zone),
        "asked": moment(release.at, opened.zone),
        "decided": decision and moment(decision.at, opened.zone),
        "ends": decision and decision.ends_at and moment(decision.ends_at, opened.zone),
        "ended": hasattr(release, "end") and moment(release.end.at, opened.zone),
    }


@signed_in("GET", "POST")
def plan(request: SignedIn, ref: uuid.UUID) -> HttpResponse:
    """GET: the flight to fill in, perhaps from an earlier one. POST: ask for the release."""
    opened = _open(request, ref, "solo releases")
    if not opened.asks:
        raise Http404("no student for whom you may ask for a release")
    initial: dict[str, Any] = {"id": uuid.uuid4(), "date": opened.student.school.day(opened.at)}
    if said := request.GET.get("from"):
        try:
            before = releases.find(opened.student, uuid.UUID(said))
        except ValueError:
            raise Http404("no release of that id") from None
        initial |= fields_of(before.flight, opened.zone)
        if before.state(opened.at) in (SoloRelease.State.REQUESTED, SoloRelease.State.RELEASED):
            initial["replaces"] = before.pk
    form = Plan.bind(request, initial=initial, student=opened.student)

    def ask(**sent: Any) -> Any:
        flight = form.flight(opened.zone)
        return releases.ask(opened.student, sent["id"], flight, replaces=sent["replaces"], **opened.acting)

    if form.submit(ask):
        return redirect("solo-release", ref, form.result.release.pk)
    return opened.page("plan", form=form, status=form.status)


@sensitive_post_parameters("confirm_password", "passkey")
@signed_in("GET", "POST")
def release(request: SignedIn, ref: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """GET: the flight with its check, or the decision. POST: an instructor decides."""
    opened = _open(request, ref, f"solo release {entry}")
    found = releases.find(opened.student, entry)
    if request.method == "POST":
        if not opened.signs:
            raise NotAllowed(gettext("Only an instructor of the student's school may sign this."))
        return _decide(opened, found)
    return _page(opened, found)


def _page(opened: Opened, found: SoloRelease, errors: list[str] | None = None, **sent: Any) -> HttpResponse:
    state = found.state(opened.at)
    pending = state == SoloRelease.State.REQUESTED
    check: Checked | None = None
    errors = errors or []
    if pending:
        try:
            check = releases.check_of(found, opened.at)
        except (InputError, Refused) as problem:
            errors += refusals.words(problem)
    decision = getattr(found, "decision", None)
    declines = opened.request.GET.get("decision") == DECLINED
    lines = check.as_json()["lines"] if check else decision.answer["lines"] if decision else []
    return opened.page(
        "release",
        status=422 if errors else 200,
        shown=_row(opened, found),
        pending=pending,
        in_force=state == SoloRelease.State.RELEASED,
        ends_at=decision and decision.ends_at and decision.ends_at.isoformat(),
        would_end=check and clock(check.ends_at, opened.zone),
        decision=decision,
        lines=in_groups(lines),
        checked=check.digest if check else "",
        declines=declines,
        errors=errors,
        reason=sent.get("reason", ""),
        ticked=sent.get("lines", []),
        end_form=End(),
        act=releases.DECIDED,
        passkeys=json.dumps(reauthentication.passkeys(opened.user)) if opened.signs else "[]",
        keep=json.dumps({"user": str(opened.user.pk), "id": str(found.pk), "title": _title(opened, found)}),
    )


def _title(opened: Opened, found: SoloRelease) -> str:
    row = _row(opened, found)
    return gettext("Solo release: %(day)s, %(aircraft)s, %(route)s") % row


def in_groups(lines: list[dict[str, Any]]) -> dict[str, list[dict[str, Any]]]:
    """The lines of a check as the page shows them: not met first."""
    found: dict[str, list[dict[str, Any]]] = {"no": [], "open": [], "confirm": [], "yes": []}
    for each in lines:
        state = State.of(each["met"])
        confirm = each["group"] == release_check.CONFIRM and each["met"] is None
        found["confirm" if confirm else state.name].append({**each, "state": state})
    return found


def _decide(opened: Opened, found: SoloRelease) -> HttpResponse:
    request = opened.request
    decision, checked = text_of(request, "decision"), text_of(request, "checked")
    lines, reason = texts_of(request, "line"), text_of(request, "reason")
    try:
        signer = signing.signer(request, opened.user, opened.at)
        signatures.decide_release(found, decision, checked, lines, reason, signer)
    except NotTheCheck as changed:
        return _page(opened, found, [str(changed)], reason=reason)
    except (Refused, InputError) as problem:
        return _page(opened, found, refusals.words(problem), reason=reason, lines=lines)
    said = gettext("Released.") if decision == RELEASED else gettext("Declined.")
    messages.success(request, said)
    return redirect("solo-release", opened.student.ref, found.pk)


@signed_in("POST")
def end(request: SignedIn, ref: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """End a release, or withdraw a request."""
    opened = _open(request, ref, f"solo release {entry}")
    found = releases.find(opened.student, entry)
    form = End.bind(request)
    if not form.submit(lambda reason: releases.end(found, reason, **opened.acting)):
        words = [str(each) for said in form.errors.values() for each in said]
        return _page(opened, found, words)
    messages.success(request, gettext("Ended."))
    return redirect("solo-release", ref, entry)


@signed_in("POST")
def sheet(request: SignedIn, ref: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """Start the lesson's sheet with the released aircraft, route and times; again opens the same draft."""
    opened = _open(request, ref, f"solo release {entry}")
    if not opened.signs:
        raise Http404("no student whose lessons you may write")
    found = releases.find(opened.student, entry)
    made = lesson_records.create(
        opened.student,
        id=uuid.uuid5(found.pk, "sheet"),
        lesson="",
        content=release_check.lesson_of(found.flight, opened.zone),
        **opened.acting,
    )
    return redirect("lesson-sheet", ref, made.pk)
