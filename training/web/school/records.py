"""A student's whole record, for any day, as known at the end of any day."""

import datetime as dt
import json
import re
import uuid
import zoneinfo
from collections.abc import Sequence
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext, gettext_lazy, ngettext
from django.utils.translation import gettext_noop as _
from django.views.decorators.debug import sensitive_post_parameters

from syllabus.engine.errors import Error, NotInForce
from syllabus.engine.record import record as engine
from training import record as stored
from training import reports
from training.models import RecordChange
from training.presenters.days import day, moment
from training.presenters.entry import Names, titled, vouched
from training.reports.eligibility import record_of
from training.services import access
from training.services.records import attesting, record_changes, record_entries
from training.services.records.record_entries import Shown
from training.services.signing import reauthentication
from training.services.signing.reauthentication import NotConfirmed
from training.web.shared import signing
from training.web.shared.forms import Day, Form, text_of, texts_of
from training.web.shared.opening import Opened, administered
from training.web.shared.report_presenter import MilestoneShown, RefusedShown

AT_ONCE = 200
MILESTONES = "milestones"
MOST_NAMED = 5
LEAVES = (
    ("flights", _("Flights")),
    ("ground", _("Ground lessons")),
    ("grades", _("Grades")),
    ("papers", _("Documents and tests")),
    ("endorsements", _("Endorsements")),
    (MILESTONES, _("Milestones")),
)
LEAVES_BY_KEY = dict(LEAVES)
#: The place of one of the named entries.
_ENTRY = re.compile(r"entries\[(\d+)\]")


class AsOf(Form):
    on = Day(
        gettext_lazy("As of"),
        help_text=gettext_lazy("such as 2026-11-29"),
        widget=forms.TextInput(attrs={"placeholder": gettext_lazy("today")}),
    )
    known = Day(
        gettext_lazy("As known at the end of"),
        help_text=gettext_lazy("such as 2026-11-29"),
        widget=forms.TextInput(attrs={"placeholder": gettext_lazy("now")}),
    )

    def __init__(self, data: Any, *, today: dt.date) -> None:
        super().__init__(data)
        self.today = today

    def clean_known(self) -> dt.date | None:
        known: dt.date | None = self.cleaned_data["known"]
        if known is not None and known > self.today:
            said = gettext("%(day)s is in the future; choose today or an earlier day") % {"day": known}
            raise forms.ValidationError(said)
        return known


@administered("GET")
def record(opened: Opened, ref: uuid.UUID) -> HttpResponse:
    """One tab of the record: its entries with provenance and ledger entry, or the milestones."""
    asked = opened.request.GET
    leaf = asked.get("leaf", "flights")
    if leaf not in dict(LEAVES):
        leaf = "flights"
    student = opened.student(ref, f"record, {leaf}")
    form = AsOf(asked, today=opened.today)
    form.is_valid()
    on = form.cleaned_data.get("on") or opened.today
    known = form.cleaned_data.get("known")
    zone = zoneinfo.ZoneInfo(opened.school.time_zone)
    # As known on a day: everything recorded before midnight at the school.
    known_at = opened.at if known in (None, opened.today) else _end_of(known, zone)
    given = {key: asked[key] for key in ("on", "known") if asked.get(key)}
    told: dict[str, Any] = {
        "student": student,
        "leaf": leaf,
        "leaves": [
            {"key": key, "title": gettext(title), "query": urlencode({"leaf": key, **given})}
            for key, title in LEAVES
        ],
        "on": day(on),
        "known": day(known) if known else "",
        "form": form,
        "printed": moment(opened.at, zone),
    }
    names = Names(stored.of(student, known_at=known_at) if known else record_of(student))
    if leaf != MILESTONES:
        found = record_entries.of(student, leaf, on, known_at)
        told |= _entries(opened, found, urlencode({"leaf": leaf, **given}), names)
    else:
        try:
            overview = reports.overview(student, on, known_at=known_at if known else None)
            told["milestones"] = [
                MilestoneShown(each, overview.provenance, names.reader) for each in overview.milestones
            ]
            told["refused"] = [RefusedShown(each) for each in overview.not_covered]
            told["rulebook"] = overview.rulebook
        except NotInForce as problem:
            form.refuse(str(problem), "on")
    return opened.page("record", "students", status=form.status, **told)


def _entries(opened: Opened, found: list[Shown], query: str, names: Names) -> dict[str, Any]:
    """One page of a tab's entries, and the form to attest the claimed ones."""
    page = Paginator(found, AT_ONCE).get_page(opened.request.GET.get("page"))
    zone = zoneinfo.ZoneInfo(opened.school.time_zone)
    claims = sum(each.until is None and each.entry.provenance == engine.CLAIMED for each in found)
    return {
        "page": page,
        "query": query,
        "rows": [_row(each, zone, names) for each in page.object_list],
        "standing": sum(each.until is None for each in found),
        "replaced": sum(each.until is not None for each in found),
        "claims": claims,
        "passkeys": json.dumps(reauthentication.passkeys(opened.user) if claims else []),
        "sealed_as": record_changes.ATTESTED,
        "about": record_changes.WHOLE,
        "most_saw": attesting.MOST_TEXT,
    }


@sensitive_post_parameters("confirm_password", "passkey")
@administered("POST")
def attest(opened: Opened, ref: uuid.UUID) -> HttpResponse:
    """Attest the claimed entries that were compared with a document."""
    request = opened.request
    student = opened.student(ref, "attestation", access.WRITE)
    leaf = text_of(request, "leaf")
    marked = dict.fromkeys(texts_of(request, "entry"))
    named = [(part, entry) for part, _, entry in (each.partition(":") for each in marked)]
    try:
        saw = attesting.saw_of(text_of(request, "saw"))
        confirmed = signing.confirm(
            opened.request,
            opened.user,
            lambda by_passkey: attesting.act_on_record(student, named, saw),
            RecordChange.objects.none(),
        )
        done = attesting.attest(student, named, saw=saw, confirmed=confirmed, **opened.acting)
    except NotConfirmed as refused:
        messages.error(opened.request, str(refused))
    except attesting.NotAttested as wrong:
        names = Names(record_of(student))
        messages.error(
            opened.request, " ".join(_wrong(each, named, names) for each in wrong.errors[:MOST_NAMED])
        )
    else:
        number = len(done)
        messages.success(
            opened.request,
            ngettext("You attested %d entry.", "You attested %d entries.", number) % number,
        )
    there = reverse("school-record", args=(opened.school.slug, ref))
    return redirect(f"{there}?{urlencode({'leaf': leaf if leaf in LEAVES_BY_KEY else 'flights'})}")


def _wrong(error: Error, named: Sequence[tuple[str, str]], names: Names) -> str:
    """Errors of an attestation, with the entry by its name and the field by its label."""
    if error.place == "saw":
        return gettext("%(field)s: %(wrong)s.") % {
            "field": gettext("Document that you saw"),
            "wrong": error.message,
        }
    if error.place == "entries":
        return gettext(
            "Not attested. Select the entries that you compared with a document, at most %(most)d."
        ) % {"most": attesting.MOST_ENTRIES}
    number = _ENTRY.match(error.place)
    if number and int(number[1]) < len(named):
        return gettext("%(entry)s: %(wrong)s.") % {
            "entry": names.entry(named[int(number[1])][1]),
            "wrong": error.message,
        }
    return error.message


def _end_of(known: dt.date | None, zone: dt.tzinfo) -> dt.datetime:
    assert known is not None
    return dt.datetime.combine(known + dt.timedelta(days=1), dt.time(), zone) - dt.timedelta(microseconds=1)


def _row(each: Shown, zone: dt.tzinfo, names: Names) -> dict[str, Any]:
    entry = each.entry
    title, said = titled(entry, zone, names.entry)
    return {
        "day": day(each.day),
        "title": title,
        "said": said,
        "id": entry.id,
        "origin": each.origin,
        "recorded": moment(each.recorded_at, zone),
        "first_written": moment(entry.recorded, zone) if entry.recorded else "",
        "until": moment(each.until, zone) if each.until else "",
        "why": each.why,
        "sealed": each.sealed,
        "vouched": vouched(entry.provenance),
        "claimed": each.until is None and entry.provenance == engine.CLAIMED,
        "part": each.part,
        "index": each.index,
    }
