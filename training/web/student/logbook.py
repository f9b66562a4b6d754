"""The logbook: a student's entries as a table with totals; and the list of logbooks a reader may open."""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django import forms
from django.core.paginator import Page, Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext, gettext_lazy
from django.utils.translation import gettext_noop as _

from syllabus.engine.record.record import TIMES, GroundLesson
from syllabus.engine.record.shapes import shape_of
from training import record
from training.models import Student
from training.presenters import amounts, entry
from training.presenters.days import day
from training.reports import logbook
from training.reports.finding_entries import lesson_of
from training.reports.logbook import LANDINGS, Line, Selection, Totals
from training.services import access
from training.web.shared.forms import Day, Form
from training.web.shared.opening import SignedIn, show, signed_in
from training.web.student.pages import open_record

ON_A_PAGE = 20
STUDENTS_ON_A_PAGE = 25
ALL = "all"
#: Headings of the columns with amounts, as short as a logbook's.
HEADINGS: Mapping[str, str] = {
    **{each: entry.LABELS[each] for each in TIMES},
    "day_landings": _("Landings, day"),
    "night_landings": _("Landings, night"),
    "landings_of_unknown_period": _("Landings, day or night not entered"),
    "pic": _("PIC"),
    "device": _("Training device"),
    "ground": _("Ground"),
}
_ORDERS = {"date": gettext_lazy("Oldest first"), "aircraft": gettext_lazy("Aircraft")}
_ORDERS["total"] = gettext_lazy("Longest first")


class Filter(Form):
    """Which entries to show, and in which order."""

    def __init__(self, sent: Mapping[str, str], every: Sequence[Line]) -> None:
        super().__init__({"sort": "date", **sent})
        crafts = sorted({each.craft for each in every} - {""})
        for name, label in (("from", gettext_lazy("From")), ("to", gettext_lazy("To"))):
            self.fields[name] = Day(label, widget=forms.TextInput(attrs={"type": "date"}))
        kinds = [(each, gettext(HEADINGS[each])) for each in logbook.KINDS]
        any_ = gettext("all")
        for name, label, choices in (
            ("aircraft", gettext_lazy("Aircraft"), [("", any_), *((each, each) for each in crafts)]),
            ("time", gettext_lazy("Kind of time"), [("", any_), *kinds]),
            ("sort", gettext_lazy("Sort"), list(_ORDERS.items())),
        ):
            self.fields[name] = forms.ChoiceField(label=label, choices=choices, required=False)

    @property
    def selection(self) -> Selection:
        """The entries chosen; all where the form has errors."""
        if not self.is_valid():
            return Selection()
        said = self.cleaned_data
        return Selection(said["from"], said["to"], said["aircraft"] or None, said["time"] or None)

    @property
    def order(self) -> str:
        return (self.cleaned_data.get("sort") if self.is_valid() else None) or "date"


@dataclass(frozen=True)
class LineShown:
    """One line of the table; ``cells`` are its amounts in the order of ``columns``."""

    line: Line
    to_date: int
    columns: Sequence[str]

    @cached_property
    def said(self) -> Mapping[str, Any]:
        return shape_of(type(self.line.entry)).write(self.line.entry)

    @property
    def date(self) -> str:
        return day(self.line.entry.date)

    @property
    def aircraft(self) -> str:
        return self.line.craft or (
            gettext("ground") if isinstance(self.line.entry, GroundLesson) else gettext("not entered")
        )

    @property
    def model(self) -> str:
        craft = self.said.get("aircraft") or {}
        return ", ".join(filter(None, (craft.get("model"), craft.get("device"))))

    @property
    def route(self) -> str:
        return " ".join(map(entry.place, self.said.get("route", ())))

    @property
    def cells(self) -> list[str]:
        """The amounts that count; in brackets what a training device logged of a kind of flight time."""
        found = dict(zip(self.columns, _cells(self.line.amounts, self.columns), strict=True))
        if self.line.amounts[logbook.DEVICE]:
            for kind, text in (self.said.get("times") or {}).items():
                if kind != "total":
                    found[kind] = f"({amounts.logged(text).removesuffix(' h')})"
        return list(found.values())

    @property
    def running(self) -> str:
        return _hours(self.to_date)

    @property
    def instructor(self) -> str:
        said = self.said.get("instructor")
        return entry.instructor(said) if said else ""

    @property
    def remarks(self) -> str:
        return "; ".join(
            filter(None, (self.said.get("topic"), *self.said.get("purposes", ()), self.said.get("remarks")))
        )

    @property
    def vouched(self) -> str:
        return entry.vouched(self.line.entry.provenance)

    @property
    def lesson(self) -> uuid.UUID | None:
        """The lesson record that the entry was signed in."""
        return lesson_of(self.line.entry.id)


def _hours(microseconds: int) -> str:
    return amounts.hours(microseconds).removesuffix(" h") if microseconds else ""


def _cells(some: Totals, columns: Sequence[str]) -> list[str]:
    return [(str(some[each] or "") if each in LANDINGS else _hours(some[each])) for each in columns]


@signed_in("GET")
def student(request: SignedIn, ref: uuid.UUID) -> HttpResponse:
    """The table: one page of it, or with ``page=all`` every entry selected, to print."""
    opened = open_record(request, ref, "logbook")
    every = logbook.lines(opened.student, record.of(opened.student))
    form = Filter(request.GET.dict(), every)
    found = logbook.selected(every, form.selection, form.order)
    number = request.GET.get("page") or ("last" if form.order == "date" else "1")
    pages = Paginator(found, len(found) or 1 if number == ALL else ON_A_PAGE)
    page = pages.get_page(pages.num_pages if number == "last" else number)
    told = opened.told(
        "logbook",
        form=form,
        page=page,
        query=_without_page(request),
        selected=len(found),
        every=len(every),
        filtered=form.selection != Selection(),
        by_date=form.order == "date",
        **_table(found, page),
    )
    return render(request, "training/student/logbook.html", told, status=form.status)


def _without_page(request: HttpRequest) -> str:
    sent = request.GET.copy()
    sent.pop("page", None)
    return sent.urlencode()


def _table(found: Sequence[Line], page: Page[Line]) -> dict[str, Any]:
    """The lines of a page and its totals: those before it, its own, and both together."""
    first = page.start_index() - 1 if found else 0
    here, before = list(page.object_list), logbook.totals(found[:first])
    of_all = logbook.totals(found)
    columns = [each for each in logbook.COLUMNS if each != logbook.LANDINGS[2] or of_all[each]]
    lines, to_date = [], before["total"]
    for each in here:
        to_date += each.amounts["total"]
        lines.append(LineShown(each, to_date, columns))
    own, through = logbook.totals(here), logbook.totals(found[: first + len(here)])
    sums = [(gettext("This page"), own), (gettext("To date"), through)]
    if first:
        sums.insert(0, (gettext("Brought forward"), before))
    if first + len(here) < len(found):
        sums.append((gettext("All pages"), of_all))
    return {
        "headings": [gettext(HEADINGS[each]) for each in columns],
        "lines": lines,
        "sums": [(words, _cells(each, columns)) for words, each in sums],
        "in_device": bool(of_all[logbook.DEVICE]),
    }


@signed_in("GET")
def students(request: SignedIn) -> HttpResponse:
    """The logbooks that the user may read, with totals; one's own opens at once. Each reading is logged."""
    at = timezone.now()
    seen = access.visible_students(request.user, on=at.date()).select_related("school").order_by("name", "pk")
    page = Paginator(seen, STUDENTS_ON_A_PAGE).get_page(request.GET.get("page"))
    listed: list[Student] = list(page.object_list)
    if page.paginator.count == 1:
        return redirect("student-logbook", listed[0].ref)
    sums = logbook.in_short(listed)
    access.log_each(request.user, access.schools_of(listed), access.READ, "logbook", via="web", at=at)
    rows = [
        {
            "student": each,
            "last": day(sums[each.pk]["last"]) if each.pk in sums else "",
            "cells": [
                (gettext(HEADINGS[kind]), _hours(sums[each.pk][kind]) if each.pk in sums else "")
                for kind in logbook.IN_SHORT
            ],
        }
        for each in listed
    ]
    told = {
        "page": page,
        "rows": rows,
        "headings": [gettext(HEADINGS[each]) for each in logbook.IN_SHORT],
        "several_schools": len({each.school_id for each in listed}) > 1,
    }
    return show(request, "training/logbooks.html", told)
