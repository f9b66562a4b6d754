"""Import flights from a file in three steps: the file, its columns with a dry run, and the import.

Between the steps the form itself carries the table, signed and bound to the student and the user. The server
stores nothing before the import, and nobody can swap the table.
"""

import json
import uuid
from collections.abc import Iterator
from typing import Any

from django import forms
from django.core import signing
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils.translation import gettext, gettext_lazy
from django.views.decorators.debug import sensitive_post_parameters

from syllabus.engine.record.record import Flight
from training.models import RecordChange, Student
from training.presenters import amounts
from training.services import access
from training.services.imports import flight_columns, flight_files, flight_import
from training.services.imports.flight_columns import CLOCKS, CRAFTS, DATES, TARGETS, UNITS, Asked
from training.services.imports.flight_files import FlightFileError, Table
from training.services.imports.flight_import import ImportRefused, Plan
from training.services.records import record_changes
from training.services.records.record_changes import ReasonError
from training.services.signing import reauthentication
from training.services.signing.reauthentication import NotConfirmed
from training.web.shared import long_work
from training.web.shared import signing as confirmation
from training.web.shared.forms import Choice, Form, text_of
from training.web.shared.long_work import Ended, Step
from training.web.shared.opening import Opened, administered
from training.web.shared.report_presenter import day

#: Seconds until a table that was sent expires.
KEPT = 4 * 3600
#: At most so many of each are shown; all are counted.
MOST_SHOWN = 500
MOST_ROWS_SHOWN = 25
#: With more rows than this, the import shows a page of progress. Also the most errors on a page.
MANY, MOST_NAMED = 400, 20
_SALT = "training.flight-import"


class Upload(Form):
    file = forms.FileField(
        label=gettext_lazy("CSV or XLSX file, one row per flight"), required=False, allow_empty_file=True
    )


class Columns(Form):
    """Which column holds what, and how the file writes dates, times and numbers."""

    dates = Choice(
        gettext_lazy("Days are written"), [(key, gettext_lazy(said)) for key, (_, said) in DATES.items()]
    )
    clock = Choice(
        gettext_lazy("Times of day are in"),
        [(key, gettext_lazy(said)) for key, said in CLOCKS.items()],
    )
    unit = Choice(
        gettext_lazy("Plain numbers of time are"), [(key, gettext_lazy(said)) for key, said in UNITS.items()]
    )
    craft = Choice(
        gettext_lazy("An airplane that is not the school's, if the file does not say its class"),
        [(key, gettext_lazy(said)) for key, (_, said) in CRAFTS.items()],
    )

    def __init__(self, data: Any = None, *, table: Table, asked: Asked | None = None) -> None:
        begins = {}
        if asked:
            begins = {key: getattr(asked, key) for key in ("dates", "clock", "unit", "craft")}
            begins |= {f"column-{key}": str(index) for key, index in asked.columns.items()}
        super().__init__(data, initial=begins)
        columns = [("", gettext("not in the file"))]
        for index in range(len(table.header)):
            sample, name = _sample(table, index), table.column(index)
            columns.append((str(index), f"{name}: {sample}" if sample else name))
        for key, label, _ in TARGETS:
            self.fields[f"column-{key}"] = Choice(gettext(label), columns)

    def asked(self) -> Asked:
        """As chosen; a value that is not on its list becomes the first of the list."""
        self.is_valid()
        right = {
            name: self.cleaned_data[name]
            for name, field in self.fields.items()
            if isinstance(field, Choice) and field.has(self.cleaned_data.get(name, ""))
        }
        columns = {key: int(right[f"column-{key}"]) for key, _, _ in TARGETS if right.get(f"column-{key}")}
        return Asked(columns, **{name: right[name] for name in self.base_fields if name in right})

    @property
    def chosen(self) -> set[int]:
        """The columns to read."""
        found = (self[f"column-{key}"].value() for key, _, _ in TARGETS)
        return {int(each) for each in found if each and str(each).isdecimal()}

    def of_targets(self) -> list[forms.BoundField]:
        return [self[name] for name in self.fields if name not in self.base_fields]

    def of_formats(self) -> list[forms.BoundField]:
        return [self[name] for name in self.base_fields]


@administered("GET", "POST")
def upload(opened: Opened, ref: uuid.UUID) -> HttpResponse:
    """GET: choose a file. POST: its columns, as suggested by their headings."""
    student = opened.student(ref, "flights to import")
    if opened.request.method != "POST":
        return _upload(opened, student)
    sent = Upload.read(opened.request, files=opened.request.FILES).get("file")
    if sent is None:
        return _upload(opened, student, [gettext("Choose a file first.")])
    if sent.size is None or sent.size > flight_files.MOST_BYTES:
        return _upload(
            opened,
            student,
            [
                gettext("The file is larger than %(most)d MB. Split it into several files.")
                % {"most": flight_files.MOST_BYTES // 1024 // 1024}
            ],
        )
    try:
        table = flight_files.read(sent.name or "", sent.read())
    except FlightFileError as problem:
        return _upload(opened, student, [str(each) for each in problem.errors[:MOST_SHOWN]])
    columns = flight_columns.suggest(table)
    asked = Asked(columns, dates=flight_columns.suggest_dates(table, columns))
    return _columns(opened, student, table, Columns(table=table, asked=asked), None)


def _upload(opened: Opened, student: Student, errors: list[str] | None = None) -> HttpResponse:
    return opened.page(
        "import",
        "students",
        status=422 if errors else 200,
        student=student,
        errors=errors,
        most_rows=flight_files.MOST_ROWS,
        most_mb=flight_files.MOST_BYTES // 1024 // 1024,
    )


@sensitive_post_parameters("confirm_password", "passkey")
@administered("POST")
def columns(opened: Opened, ref: uuid.UUID) -> HttpResponseBase:
    """The dry run for these columns; or the import, if the form has the digest of a dry run."""
    planned = bool(text_of(opened.request, "plan"))
    student = opened.student(ref, "flights to import", access.WRITE if planned else access.READ)
    try:
        plain = signing.loads(text_of(opened.request, "table"), salt=_salt(opened, student), max_age=KEPT)
    except signing.SignatureExpired:
        return _upload(
            opened,
            student,
            [gettext("Not imported. The upload has expired. Choose the file again.")],
        )
    except signing.BadSignature:
        return _upload(
            opened,
            student,
            [gettext("Not imported. The file is incomplete. Choose it again.")],
        )
    table = Table.from_plain(plain)
    form = Columns.bind(opened.request, table=table)
    asked = form.asked()
    if not planned:
        plan = flight_import.dry_run(table, asked, student, at=opened.at)
        return _columns(opened, student, table, form, plan)
    if len(table.rows) > MANY:
        return _at_length(opened, student, table, asked)
    try:
        change = _carried_out(opened, student, table, asked)
    except (ReasonError, NotConfirmed) as problem:
        plan = flight_import.dry_run(table, asked, student, at=opened.at)
        return _columns(opened, student, table, form, plan, 422, _words(problem))
    except ImportRefused as problem:
        plan = flight_import.dry_run(table, asked, student, at=opened.at)
        if not plan.errors:
            plan.cautions[:0] = problem.errors
        return _columns(opened, student, table, form, plan, 409)
    return opened.done(_said(change), "school-record", ref)


def _carried_out(opened: Opened, student: Student, table: Table, asked: Asked) -> RecordChange | None:
    """Carry out the import that was read. Raises: ImportRefused; ReasonError; NotConfirmed."""
    digest = text_of(opened.request, "plan")
    reason = record_changes.reason_of(text_of(opened.request, "reason"))
    confirmed = confirmation.confirm(
        opened.request,
        opened.user,
        lambda by_passkey: record_changes.act(student, digest, reason),
        RecordChange.objects.filter(student=student).values_list("confirmed", flat=True),
    )
    return flight_import.carry_out(
        table, asked, student, digest=digest, reason=reason, confirmed=confirmed, **opened.acting
    )


def _words(problem: ImportRefused | ReasonError | NotConfirmed) -> str:
    if isinstance(problem, NotConfirmed):
        return str(problem)
    if isinstance(problem, ReasonError):
        return "; ".join(
            gettext("%(field)s: %(wrong)s.")
            % {"field": gettext("Reason for the import"), "wrong": each.message}
            for each in problem.errors
        )
    return "; ".join(map(str, problem.errors[:MOST_NAMED]))


def _said(change: RecordChange | None) -> str:
    if change is None:
        return gettext("All of these flights are already on record. Nothing was changed.")
    counts = change.counts["flights"]
    return gettext("Flights added: %(added)d. Flights updated: %(changed)d.") % {
        "added": counts["added"],
        "changed": counts["changed"],
    }


def _at_length(opened: Opened, student: Student, table: Table, asked: Asked) -> HttpResponseBase:
    """The same for a long import, with a page that shows the progress."""
    record = reverse("school-record", args=(opened.school.slug, student.ref))
    anew = reverse("school-import", args=(opened.school.slug, student.ref))

    def work() -> Iterator[Step | Ended]:
        yield Step()
        try:
            said = _said(_carried_out(opened, student, table, asked))
        except (ImportRefused, ReasonError, NotConfirmed) as refused:
            yield Ended(_words(refused), anew, gettext("Choose the file again"), well=False)
        else:
            yield Ended(said, record, gettext("Show flights"))

    return long_work.page(
        opened.request,
        work(),
        title=gettext("Import flights of %(student)s") % {"student": student},
        says=gettext("Either all flights are imported or none."),
    )


def _salt(opened: Opened, student: Student) -> str:
    return f"{_SALT}:{opened.user.pk}:{student.ref}"


def _columns(
    opened: Opened,
    student: Student,
    table: Table,
    form: Columns,
    plan: Plan | None,
    status: int = 200,
    wrong: str = "",
) -> HttpResponse:
    told = _planned(form, plan) if plan else {}
    return opened.page(
        "import_columns",
        "students",
        status=422 if plan and plan.errors and status == 200 else status,
        student=student,
        table=table,
        wrong=wrong,
        reason=text_of(opened.request, "reason"),
        most_reason=record_changes.MOST_REASON,
        passkeys=json.dumps(reauthentication.passkeys(opened.user)),
        sealed_as=record_changes.REPLACED,
        about=record_changes.WHOLE,
        token=signing.dumps(table.as_plain(), salt=_salt(opened, student), compress=True),
        form=form,
        unused=[table.column(index) for index in range(len(table.header)) if index not in form.chosen],
        **told,
    )


def _planned(form: Columns, plan: Plan) -> dict[str, Any]:
    """What the import would do; errors of a column are shown at its field."""
    of_mapping = {key for key, _, _ in TARGETS}
    for each in plan.errors:
        if each.place in of_mapping:
            form.refuse(each.message, f"column-{each.place}")
    row_errors = [each for each in plan.errors if each.place not in of_mapping]
    new = [(gettext("new"), number, flight) for number, flight in plan.added]
    new += [(gettext("updated"), number, flight) for number, flight in plan.changed]
    return {
        "plan": plan,
        "digest": plan.digest,
        "errors": row_errors[:MOST_SHOWN],
        "more_errors": max(0, len(row_errors) - MOST_SHOWN),
        "error_count": len(plan.errors),
        "cautions": plan.cautions[:MOST_SHOWN],
        "more_cautions": max(0, len(plan.cautions) - MOST_SHOWN),
        "flights": [_flight(*each) for each in sorted(new, key=lambda each: each[1])[:MOST_ROWS_SHOWN]],
        "count": len(new),
        "more_flights": max(0, len(new) - MOST_ROWS_SHOWN),
        "total": amounts.hours(sum(flight.times.get("total", 0) for _, _, flight in new)),
    }


def _flight(what: str, number: int, flight: Flight) -> dict[str, Any]:
    craft, total = flight.aircraft, flight.times.get("total")
    return {
        "what": what,
        "number": number,
        "day": day(flight.date),
        "craft": craft.registration or craft.model or gettext("no airplane entered"),
        "route": " – ".join(each.key for each in flight.route),
        "total": gettext("no total") if total is None else amounts.hours(total),
    }


def _sample(table: Table, index: int) -> str:
    found = next((cells[index].strip() for _, cells in table.rows[:50] if cells[index].strip()), "")
    return found if len(found) <= 24 else f"{found[:23]}…"
