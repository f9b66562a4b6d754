"""Give and revoke endorsements: the page shows the report, then the wording, then asks for the signature."""

import dataclasses
import datetime as dt
import json
import uuid
from collections import defaultdict
from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from syllabus.engine.audit.audit import SOLO
from syllabus.engine.errors import NotInForce
from syllabus.engine.record.record import Endorsement as Given
from syllabus.engine.record.record import Record
from syllabus.engine.record.vocabulary import CATEGORIES, CLASSES, TESTS
from syllabus.engine.rules.finding import Finding, Said
from syllabus.engine.rules.reasons import NotCovered
from syllabus.law import endorsements as catalogue
from syllabus.law.endorsements import Kind
from training.models import EndorsementSeal
from training.presenters import amounts
from training.presenters.days import day
from training.presenters.entry import Names, kind_of, sentence
from training.presenters.reasons import PAGE
from training.reports.eligibility import record_of
from training.services import access, signatures
from training.services.endorsements import endorsement_check, endorsements
from training.services.endorsements.endorsement_check import Checked
from training.services.endorsements.endorsements import AgainstTheRule, EndorsementError
from training.services.errors import NotAllowed, Refused
from training.services.signing import reauthentication
from training.web.instructor import sheet
from training.web.instructor.forms import Give
from training.web.instructor.opening import Taught, taught
from training.web.shared import refusals, signing
from training.web.shared.forms import text_of
from training.web.shared.limits import LIMITS, limits_of
from training.web.shared.opening import show
from training.web.shared.report_presenter import State
from training.web.student.endorsed import title_of

MOST_REASONS = 6
#: Fields whose value is chosen from a list; all others are typed.
CHOICES = {"category": CATEGORIES, "class": CLASSES, "test": TESTS}
#: Each field's label and input type.
FIELDS: Mapping[str, tuple[str, str]] = {
    "aircraft_model": (_("Airplane model"), "text"),
    "category": (_("Category of aircraft"), "text"),
    "class": (_("Class of aircraft"), "text"),
    "test": (_("Test"), "text"),
    "similar_model": (_("Similar model used for training"), "text"),
    "airport": (_("Airport"), "text"),
    "area": (_("Class B area"), "text"),
    "route": (_("Route"), "text"),
    "flight_date": (_("Day of the flight"), "date"),
    "training_date": (_("Day of the training"), "date"),
    "conditions": (_("Conditions and limitations"), "area"),
    "expires": (_("Expires on (to shorten it)"), "date"),
}


@taught("GET", "POST")
def endorse(request: HttpRequest, whose: Taught, kind: str) -> HttpResponse:
    """GET: the requirements of this endorsement for the fields as filled in. POST: give it."""
    chosen = catalogue.current().kinds.get(kind)
    if chosen is None:
        raise Http404("no kind of endorsement of that name")
    if request.method == "POST":
        return _give(request, whose, chosen)
    said = _said(chosen, _texts(request.GET))
    if "aircraft_model" in chosen.fields and not request.GET and whose.student.training_model:
        said["aircraft_model"] = whose.student.training_model
    return _show(request, whose, chosen, said)


def _texts(given: Mapping[str, Any]) -> dict[str, str]:
    return {key: str(value) for key, value in given.items()}


def _said(kind: Kind, given: Mapping[str, str]) -> dict[str, Any]:
    names = (*kind.fields, "expires")
    said: dict[str, Any] = {name: text for name in names if (text := sheet.lines(given.get(name, "")))}
    if kind.about == SOLO and (
        limits := limits_of({key: sheet.lines(given.get(f"limits.{key}", "")) for key in LIMITS})
    ):
        said["limits"] = limits
    return said


def _show(
    request: HttpRequest,
    whose: Taught,
    kind: Kind,
    said: Mapping[str, Any],
    *,
    errors: list[str] | None = None,
    judgement: str = "",
    entry: uuid.UUID | None = None,
    status: int = 200,
) -> HttpResponse:
    known = record_of(whose.student)
    checked, by_field = _checked(whose, kind, said, known)
    fresh = request.method == "GET" and not request.GET
    if fresh:  # nothing was sent, so no field has an error yet
        by_field = {"": by_field.get("", [])} if checked else {}
    longest = endorsement_check.last_day(whose.student, known, _longest(checked)) if checked else None
    fields = [
        _field(kind, key, said.get(key, ""), by_field.pop(key, [])) for key in (*kind.fields, "expires")
    ]
    fields[-1]["most"] = longest.isoformat() if longest else ""
    limits = [
        {
            "key": f"limits.{key}",
            "label": gettext(label),
            "type": "text",
            "value": said.get("limits", {}).get(key, ""),
            "errors": by_field.pop(f"limits.{key}", []),
        }
        for key, label in (LIMITS.items() if kind.about == SOLO else ())
    ]
    told = [*(errors or []), *by_field.pop("", [])]
    told += [f"{key}: {each}" for key, all_of in by_field.items() for each in all_of]
    shown = {
        "student": whose.student,
        "kind": kind,
        "fields": fields,
        "limits": limits,
        "limited": any(each["value"] or each["errors"] for each in limits),
        "errors": told,
        "report": checked.as_json() if checked else None,
        "fresh": fresh,
        "rests_on": _rests_on(checked, Names(known)) if checked else [],
        "last_day": day(checked.last_day) if checked else "",
        "longest": day(longest),
        "judgement": judgement,
        "said": json.dumps(dict(said)),
        "checked_hash": checked.digest if checked else "",
        "new": entry or uuid.uuid4(),
        "passkeys": json.dumps(reauthentication.passkeys(whose.user)),
    }
    return show(request, "training/instructor/endorse_kind.html", shown, status=status)


def _checked(
    whose: Taught, kind: Kind, said: Mapping[str, Any], known: Record
) -> tuple[Checked | None, dict[str, list[str]]]:
    """The endorsement's report, and the errors by field; errors of no field are under the empty name."""
    wrong: dict[str, list[str]] = defaultdict(list)
    try:
        found = endorsements.check(whose.student, kind.kind, said, known=known, **whose.acting)
    except EndorsementError as refused:
        for each in refused.errors:
            wrong[each.place.partition("[")[0]].append(sentence(each.message))
    except NotInForce as refused:
        wrong[""].append(str(refused))
    except NotCovered as refused:
        wrong[""].append(gettext("Not covered by these rules: %(why)s") % {"why": PAGE.words(refused.reason)})
    except NotAllowed as refused:
        raise Http404(str(refused)) from None
    else:
        for refusal in found.refusals:
            field = refusal.place if refusal.place in FIELDS else ""
            wrong[field].append(f"{sentence(refusal.message)} ({refusal.citation})")
        return found, wrong
    return None, wrong


def _field(kind: Kind, key: str, said: str, errors: list[str]) -> dict[str, Any]:
    label, type_ = FIELDS[key]
    return {
        "key": key,
        "label": gettext(label),
        "type": type_,
        "choices": _choices(key, said),
        "needed": kind.fields.get(key, False),
        "value": said,
        "errors": errors,
    }


def _choices(key: str, said: str) -> list[tuple[str, str]]:
    """The choices of a field in words, with the value that was sent even if it is none of them."""
    known = CHOICES.get(key, ())
    every = (*known, said) if known and said and said not in known else known
    return [(each, kind_of(each) if key == "test" else each) for each in every]


def _longest(checked: Checked) -> Given:
    """The endorsement without its own last day, so that the rule's longest period applies."""
    return dataclasses.replace(checked.endorsement, expires=None)


def _rests_on(checked: Checked, names: Names) -> list[dict[str, Any]]:
    """The requirements behind the endorsement, those about the signer's own training first."""
    return [_finding(each, checked.report.question.on, names) for each in checked.report.findings]


def _finding(finding: Finding, on: dt.date, names: Names) -> dict[str, Any]:
    met = finding.met(on)
    return {
        "state": State.of(met),
        "says": finding.rule.says,
        "citation": finding.rule.cite.section,
        "have": amounts.have(finding.have) if met else amounts.of(finding.have, finding.need),
        "exact": amounts.exact(finding.have, finding.need),
        "ask": _asked(finding.ask, names) if met is None else [],
        "not_counted": _left_out(finding.not_counted, names),
        "parts": [_finding(each, on, names) for each in finding.parts],
    }


def _asked(missing: Said, names: Names) -> list[str]:
    return [f"{names(entry)}: {names.reader.words(what)}" for entry, what in missing]


def _left_out(whys: Said, names: Names) -> list[str]:
    return list(dict.fromkeys(names.reader.words(why) for _entry, why in whys))[:MOST_REASONS]


def _give(request: HttpRequest, whose: Taught, kind: Kind) -> HttpResponse:
    form = Give.bind(request)
    if {"id", "endorsement", "typed"} & form.errors.keys():
        raise Http404("no endorsement that can be read")
    sent = form.cleaned_data
    entry, said, judgement = sent["id"], sent["endorsement"], sent.get("judgement", "")
    if unread := form.errors.get("judgement"):  # no signature without it
        return _show(request, whose, kind, said, errors=list(map(str, unread)), entry=entry, status=422)
    typed = said if sent["typed"] is None else _said(kind, _texts(sent["typed"]))
    if typed != said or not sent["checked_hash"]:
        void = gettext("Not signed. You changed the details after the check. Read the new check, then sign.")
        return _show(request, whose, kind, typed, errors=[void], judgement=judgement, status=409)
    errors = []
    try:
        by = signing.signer(request, whose.user, whose.at)
        done = signatures.give_endorsement(
            whose.student, entry, kind.kind, said, judgement, by, sent["checked_hash"]
        )
        messages.success(
            request,
            gettext("Endorsement given: %(kind)s. Ledger entry %(index)d.")
            % {"kind": kind.title, "index": done.seal.ledger_index},
        )
        return redirect("endorse", ref=whose.student.ref)
    except NotCovered:
        pass  # the report below shows what was checked again
    except AgainstTheRule:
        errors.append(
            gettext("The regulation does not allow this endorsement. See the reasons and citations below.")
        )
    except (Refused, EndorsementError) as problem:
        errors += refusals.words(problem)
    return _show(request, whose, kind, said, errors=errors, judgement=judgement, entry=entry, status=422)


@taught("GET", "POST")
def revoke(request: HttpRequest, whose: Taught, entry: uuid.UUID) -> HttpResponse:
    """Revoke an endorsement that was given here, from today on."""
    found = endorsements.find(whose.student, entry)
    reason = text_of(request, "reason")
    errors: list[str] = []
    if request.method == "POST":
        try:
            by = signing.signer(request, whose.user, whose.at)
            signatures.revoke_endorsement(found, reason, by)
            messages.success(request, gettext("Endorsement revoked. It no longer counts from today."))
            return redirect("endorse", ref=whose.student.ref)
        except (Refused, EndorsementError) as problem:
            errors = refusals.words(problem, lambda each: f"{each.place} {each.message}")
    else:
        whose.log(access.READ, f"endorsement {found.kind}")
    told = {
        "student": whose.student,
        "title": title_of(found.kind),
        "given": day(found.given),
        "seal": EndorsementSeal.objects.filter(endorsement=found).first(),
        "entry": entry,
        "reason": reason,
        "errors": errors,
        "passkeys": json.dumps(reauthentication.passkeys(whose.user)),
    }
    return show(request, "training/instructor/revoke.html", told, status=422 if errors else 200)
