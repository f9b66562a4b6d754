"""What the school requires beyond the law: list, add and end. Nothing is deleted."""

import datetime as dt
from typing import Any

from django import forms
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.html import format_html
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from syllabus.courses.reader import plain
from syllabus.engine.errors import RuleDataError
from syllabus.engine.rules.kinds import KINDS
from syllabus.law import rulebook
from syllabus.law.dated import read_text
from syllabus.models import SchoolMinimum
from training.services.courses import minimums
from training.web.shared.forms import Choice, Day, Form, Text, sent_or_new
from training.web.shared.opening import Opened, administered
from training.web.shared.report_presenter import day


class Minimum(Form):
    milestone = Choice(_("Milestone"))
    says = Text(_("Details"), help_text=_("such as: 25 hours of dual before the first solo"))
    code = Text(_("Short name"))
    kind = Choice(_("Kind of requirement"), [(name, name.replace("_", " ")) for name in sorted(KINDS)])
    params = Text(
        _("Parameters, one per line"),
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_(
            "as the API shows them for a requirement of that kind, such as <code>counts: [dual]</code> and "
            "<code>need: 25 h</code>"
        ),
    )
    starts = Day(_("From (such as 2026-11-29)"), required=True)
    ends = Day(_("Through (blank: no end date)"))
    note = Text(_("Note"))

    def __init__(self, data: Any = None, *, today: dt.date) -> None:
        super().__init__(data, initial={"starts": today, "kind": "total_at_least"})
        self.fields["code"].required = self.fields["says"].required = True
        self.offer("milestone", [(each.id, each.title) for each in rulebook.current().milestones.values()])

    def clean_milestone(self) -> str:
        found = str(self.cleaned_data["milestone"])
        if found not in rulebook.current().milestones:
            raise forms.ValidationError(_("choose a milestone"))
        return found

    def clean_kind(self) -> str:
        found = str(self.cleaned_data["kind"])
        if found not in KINDS:
            raise forms.ValidationError(_("choose a kind of requirement"))
        return found

    def clean_params(self) -> dict[str, Any]:
        """Parameters as in a rule file, one per line: ``counts: dual``."""
        try:
            found = plain(
                read_text(self.cleaned_data["params"], "line", "a parameter is written 'counts: dual'")
            )
        except RuleDataError as problem:
            raise forms.ValidationError([str(each) for each in problem.errors]) from None
        return found if isinstance(found, dict) else {}


class End(Form):
    refused_at = "ends"

    ends = Day("")

    def __init__(self, data: Any = None, *, minimum: SchoolMinimum, today: dt.date) -> None:
        super().__init__(data, auto_id=f"%s-{minimum.pk}", initial={"ends": today})
        self.minimum = minimum.pk
        self.fields["ends"].label = format_html(
            gettext('Last day<span class="unseen"> of {code}</span>'), code=minimum.code
        )


@administered("GET", "POST")
def listed(opened: Opened) -> HttpResponse:
    """GET: the minimums. POST: add one."""
    form = Minimum.bind(opened.request, today=opened.today)
    if form.submit(lambda **sent: minimums.add(opened.school.slug, sent, by=opened.user)):
        said = gettext("Minimum added, in force from %(day)s.") % {"day": day(form.cleaned_data["starts"])}
        return opened.done(said, "school-minimums")
    return _page(opened, form)


def _page(opened: Opened, form: Minimum | End) -> HttpResponse:
    milestones = rulebook.current().milestones
    rows = SchoolMinimum.objects.filter(school_ref=opened.school.slug).order_by("milestone", "code", "starts")
    today = opened.today
    return opened.page(
        "minimums",
        "minimums",
        status=form.status,
        rows=[
            {
                "row": each,
                "milestone": milestones[each.milestone].title
                if each.milestone in milestones
                else each.milestone,
                "starts": day(each.starts),
                "ends": day(each.ends),
                "over": each.ends is not None and each.ends < today,
                "form": form
                if isinstance(form, End) and form.minimum == each.pk
                else End(minimum=each, today=today),
                "endable": each.ends is None or each.ends > today,
            }
            for each in rows
        ],
        form=sent_or_new(form, Minimum, today=today),
    )


@administered("POST")
def end(opened: Opened, pk: int) -> HttpResponse:
    """Set the last day of a minimum."""
    found = get_object_or_404(SchoolMinimum, school_ref=opened.school.slug, pk=pk)
    form = End.bind(opened.request, minimum=found, today=opened.today)
    if not form.submit(lambda ends: minimums.end(pk, ends, by=opened.user, at=opened.at)):
        return _page(opened, form)
    return opened.done(
        gettext("%(minimum)s ends on %(day)s. It stays in force until then.")
        % {"minimum": found.code, "day": day(form.result.ends)},
        "school-minimums",
    )
