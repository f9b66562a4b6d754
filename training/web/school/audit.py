"""The administrator's pages of an audit, and an instructor's own record."""

import json
import logging
import uuid
from collections.abc import Iterator, Mapping
from typing import Any

from django import forms
from django.contrib import messages as flash
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import Http404, HttpResponse, QueryDict, StreamingHttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop
from django.views.decorators.debug import sensitive_post_parameters

from syllabus.engine.audit.audit import MENDS
from training import pdf
from training.models import Finding, NightlyAudit, School, Student
from training.presenters.days import day
from training.presenters.entry import kind_of, vouched
from training.reports import finding_entries
from training.reports.audit_kinds import KINDS
from training.services import access, signatures
from training.services.audit import finding_json, finding_pages, finding_tables, findings
from training.services.people import instructors
from training.services.signing import reauthentication
from training.web.shared import long_work, signing
from training.web.shared.forms import Choice, Form, Reason, text_of
from training.web.shared.long_work import Ended, Step
from training.web.shared.opening import SignedIn, show, signed_in

log = logging.getLogger(__name__)
#: Findings on a page, and findings read at a time for a file.
AT_ONCE, AT_A_TIME = 25, 500
_WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
#: Labels of severities, states and remedies, with their marks and CSS classes.
SEVERITY = {
    "serious": ("no", "✗", gettext_noop("Serious")),
    "incomplete": ("open", "?", gettext_noop("Incomplete")),
    "note": ("yes", "·", gettext_noop("Advisory")),
}
STATE = {
    "open": gettext_noop("Open"),
    "resolved": gettext_noop("Resolved"),
    "gone": gettext_noop("No longer found"),
}
MEND = {
    "correction": gettext_noop("A correction"),
    "note": gettext_noop("A note"),
    "nothing": gettext_noop("No remedy"),
}


class Resolve(Form):
    how = Choice(gettext_lazy("What was done"), [(key, gettext_lazy(MEND[key])) for key in MENDS])
    note = Reason(gettext_lazy("Details"), most=findings.MOST_NOTE, rows=4)

    def __init__(self, data: Any = None, *, found: Finding) -> None:
        super().__init__(data, initial={"how": found.body["mend"]})


def _school(request: SignedIn, slug: str | None) -> School:
    """The requested school, or the first of several. Raises: PermissionDenied."""
    mine = access.schools(request.user).order_by("name", "pk")
    found = mine.filter(slug=slug).first() if slug else mine.first()
    if found is None:
        raise PermissionDenied
    return found


def _every(words: Mapping[str, Any]) -> list[tuple[str, Any]]:
    return [("", gettext_lazy("All")), *((key, gettext_lazy(each)) for key, each in words.items())]


class Filters(Form):
    """Filters of the list of findings; a value that is not on its list is ignored."""

    school = forms.CharField(required=False, widget=forms.HiddenInput)
    student = forms.UUIDField(required=False, widget=forms.HiddenInput)
    state = forms.ChoiceField(label=gettext_lazy("State"), choices=_every(STATE), required=False)
    severity = forms.ChoiceField(
        label=gettext_lazy("Severity"),
        choices=_every({key: words for key, (_look, _mark, words) in SEVERITY.items()}),
        required=False,
    )
    kind = forms.ChoiceField(label=gettext_lazy("Kind"), choices=_every(KINDS), required=False)

    def __init__(self, sent: QueryDict) -> None:
        super().__init__({"state": findings.OPEN, **sent.dict()})

    @property
    def asked(self) -> dict[str, Any]:
        self.is_valid()
        return {key: self.cleaned_data.get(key) or None for key in ("state", "severity", "kind", "student")}


@signed_in("GET")
def listed(request: SignedIn) -> HttpResponse:
    """The findings of a school's audits, with filters; by default the open ones."""
    user, at = request.user, timezone.now()
    school = _school(request, request.GET.get("school") or None)
    form = Filters(request.GET)
    page = Paginator(findings.listed(school, **form.asked), AT_ONCE).get_page(request.GET.get("page"))
    rows = [_shown(each) for each in page.object_list]
    findings.note_read(page.object_list, user, via="web", at=at)
    kept = request.GET.copy()
    kept.pop("page", None)
    last = findings.last_run(school)
    told = {
        "school": school,
        "here": "audit",
        "schools": access.schools(user).order_by("name", "pk"),
        "page": page,
        "findings": rows,
        "form": form,
        "query": kept.urlencode(),
        "last": last,
        "last_day": last and day(last.on),
        "failed": NightlyAudit.objects.filter(school=school).exclude(fault="").first(),
    }
    return show(request, "training/audit/findings.html", told)


def _shown(found: Finding) -> dict[str, Any]:
    look, mark, words = SEVERITY[found.severity]
    return {
        "finding": found,
        "title": _(KINDS[found.kind]) if found.kind in KINDS else found.kind,
        "look": look,
        "mark": mark,
        "severity": _(words),
        "state": findings.state_of(found),
        "state_words": _(STATE[findings.state_of(found)]),
        "whose": finding_tables.whose(found),
        "day": day(found.day),
        "mend": _(MEND[found.body["mend"]]),
    }


@signed_in("GET")
def table(request: SignedIn, form: str) -> HttpResponse | StreamingHttpResponse:
    """The same findings as a table for a spreadsheet: CSV, or a workbook."""
    school = _school(request, request.GET.get("school") or None)
    rows = findings.listed(school, **Filters(request.GET).asked)
    findings.note_read(rows, request.user, via="web", at=timezone.now())
    response: HttpResponse | StreamingHttpResponse
    if form == "xlsx":
        response = HttpResponse(finding_tables.workbook(rows.iterator(AT_A_TIME)), content_type=_WORKBOOK)
    else:
        lines = finding_tables.lines(rows.iterator(AT_A_TIME))
        response = StreamingHttpResponse(lines, content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="audit-{school.slug}.{form}"'
    return response


@signed_in("GET")
def report(request: SignedIn) -> HttpResponse:
    """The school's whole audit as a PDF: open findings, resolved ones, and those that are gone."""
    school = _school(request, request.GET.get("school") or None)
    last = findings.last_run(school)
    if last is None:
        raise Http404("the records of this school were never audited")
    chosen = finding_pages.choose(findings.listed(school))
    findings.note_read(chosen.rows, request.user, via="web", at=timezone.now())
    try:
        made = finding_pages.report(school, last, chosen)
    except pdf.TooLarge:
        log.exception("no PDF of the audit of %s", school.slug)
        flash.error(
            request, _("No PDF was made: it needs too much memory. Download the CSV or the workbook.")
        )
        return redirect(f"{reverse('audit')}?school={school.slug}")
    return HttpResponse(
        made,
        content_type="application/pdf",
        headers={"Content-Disposition": f'attachment; filename="audit-{school.slug}-{last.on}.pdf"'},
    )


@signed_in("POST")
def run(request: SignedIn) -> StreamingHttpResponse:
    """Audit a school now, and show the progress."""
    user, at = request.user, timezone.now()
    school = _school(request, text_of(request, "school") or None)
    address = f"{reverse('audit')}?school={school.slug}"

    def work() -> Iterator[Step | Ended]:
        total = Student.objects.filter(school=school).count()
        yield Step(0, total)
        steps = findings.recomputing(school, school.day(at), at=at, by=user, via="web")
        number = 0
        while True:
            try:
                next(steps)
            except StopIteration as ended:
                done: findings.Done = ended.value
                break
            number += 1
            yield Step(number, max(number, total))
        said = _(
            "Audit complete. Students: %(students)d; findings: %(found)d; new: %(new)d; found again: "
            "%(back)d; no longer found: %(gone)d."
        ) % {
            "students": done.run.students,
            "found": done.run.found,
            "new": done.new,
            "back": done.returned,
            "gone": done.gone,
        }
        yield Ended(said, address, _("Show findings"))

    return long_work.page(
        request,
        work(),
        title=_("Audit of %(school)s") % {"school": school.name},
        says=_("Students’ records read:"),
        stop=address,
    )


@sensitive_post_parameters("confirm_password", "passkey")
@signed_in("GET", "POST")
def finding(request: SignedIn, ref: uuid.UUID) -> HttpResponse:
    """One finding with all details; and the form to resolve it."""
    user, at = request.user, timezone.now()
    found = findings.find(user, ref)
    findings.note_read([found], user, via="web", at=at)
    form = Resolve.bind(request, found=found)
    if not form.submit(
        lambda how, note: signatures.resolve_finding(found, how, note, signing.signer(request, user, at))
    ):
        return _finding(request, found, form)
    flash.success(request, _("Finding resolved. This is entered in the school's ledger."))
    return redirect("finding", ref=ref)


def _finding(request: SignedIn, found: Finding, form: Resolve) -> HttpResponse:
    unmet = [
        {**each, "now": _(_MET[each["met_now"]]), "then": _(_MET[each["met_then"]])}
        for each in found.body["unmet"]
    ]
    told = {
        "shown": _shown(found),
        "finding": found,
        "school": found.school,
        "here": "audit",
        "sealed_as": findings.SEALED_AS,
        "subject": findings.subject_of(found),
        "passkeys": json.dumps(reauthentication.passkeys(request.user)),
        "body": found.body,
        "entries": [(each, vouched(each.provenance or "")) for each in finding_entries.of(found)],
        "unmet": unmet,
        "signed_reason": finding_entries.reasons([found]).get(found.key),
        "resolutions": [
            {"row": each, **finding_json.resolution(each), "words": _(MEND[each.how])}
            for each in found.resolutions.select_related("by", "finding")
        ],
        "form": form,
    }
    return show(request, "training/audit/finding.html", told, status=form.status)


_MET = {True: gettext_noop("met"), False: gettext_noop("not met"), None: gettext_noop("unknown")}


@signed_in("GET")
def own_records(request: SignedIn) -> HttpResponse:
    """The instructors whose own record the user may see."""
    roles = list(instructors.seen(request.user))
    desk = access.schools(request.user).order_by("name", "pk").first()
    if not roles and desk is None:
        raise PermissionDenied
    if len(roles) == 1:
        return redirect("own-record", roles[0].pk)
    rows = [{"role": each, "until": day(each.recent_experience_until)} for each in roles]
    told = {
        "roles": rows,
        "desk": desk,
    }
    return show(request, "training/audit/instructors.html", told)


@signed_in("GET")
def own_record(request: SignedIn, instructor: int) -> HttpResponse:
    """One instructor's own record."""
    at = timezone.now()
    kept = instructors.own_record(request.user, instructor, on=None, at=at, via="web")
    rule = kept.kept_by
    page = Paginator(kept.lines, AT_ONCE).get_page(request.GET.get("page"))
    told = {
        "kept": kept,
        "administers": access.schools(request.user).filter(pk=kept.role.school_id).exists(),
        "rule": {"says": rule.says, "citation": rule.cite.section, "note": rule.note},
        "until": day(kept.role.recent_experience_until),
        "lines": [
            {
                "line": each,
                "given": day(each.given),
                "keep_until": day(each.keep_until),
                "taken": each.result and day(each.result.date),
                "test": kind_of(each.kind_of_test) if each.kind_of_test else "",
            }
            for each in page.object_list
        ],
        "since": day(kept.practical.since),
        "page": page,
        "query": "",
        "on": day(kept.on),
    }
    return show(request, "training/audit/own_record.html", told)
