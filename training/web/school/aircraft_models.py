"""The spellings of each make and model: link and unlink them, and add models of the school's own."""

from functools import partial

from django import forms
from django.http import HttpResponse
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from syllabus.engine.record.vocabulary import CATEGORIES, CLASSES
from training.services.school import aircraft_models, school_settings
from training.web.shared.forms import Choice, Form, Text, sent_or_new
from training.web.shared.opening import Opened, administered
from training.web.shared.report_presenter import day

_LATEST = 20
#: Both forms of the page have fields with the same names.
_ADDED = {"auto_id": "new_%s"}


class Link(Form):
    spelling = Text(_("Spelling, as in flight entries"), required=True, max_length=200)
    model = Text(_("Model"), required=True, max_length=200, widget=forms.TextInput(attrs={"list": "models"}))


class Add(Form):
    places = {"spelling": "model"}  # a model's main spelling is the model itself

    model = Text(_("Make and model"), required=True, max_length=200)
    category = Choice(_("Category"), [("", _("not entered")), *((each, each) for each in CATEGORIES)])


#: "class" is a Python keyword.
Add.base_fields["class"] = Choice(_("Class"), [("", _("not entered")), *((each, each) for each in CLASSES)])


class Unlink(Form):
    spelling = Text("", widget=forms.HiddenInput)


@administered("GET", "POST")
def listed(opened: Opened) -> HttpResponse:
    """GET: every model with its spellings. POST: link a spelling."""
    form = Link.bind(opened.request)
    if form.submit(partial(aircraft_models.link, opened.school.slug, by=opened.user, at=opened.at)):
        return _done(opened, gettext("%(spelling)s now means %(model)s.") % form.cleaned_data)
    return _page(opened, form)


@administered("POST")
def add(opened: Opened) -> HttpResponse:
    """Add a model of the school's own."""
    form = Add.bind(opened.request, **_ADDED)
    if form.submit(
        lambda model, **sent: aircraft_models.add(
            opened.school.slug,
            model,
            sent["category"] or None,
            sent["class"] or None,
            by=opened.user,
            at=opened.at,
        )
    ):
        return _done(opened, gettext("Model %(model)s added.") % form.cleaned_data)
    return _page(opened, form)


@administered("POST")
def unlink(opened: Opened) -> HttpResponse:
    """Remove a link, or a model of the school's own."""
    form = Unlink.bind(opened.request)
    if form.submit(partial(aircraft_models.unlink, opened.school.slug, by=opened.user, at=opened.at)):
        return _done(opened, gettext("%(spelling)s is no longer linked by the school.") % form.cleaned_data)
    return _page(opened, form)


def _done(opened: Opened, said: str) -> HttpResponse:
    return opened.done(said, "school-aircraft-models")


def _page(opened: Opened, form: Form) -> HttpResponse:
    links = aircraft_models.own(opened.school)
    every = aircraft_models.listed(links)
    made = school_settings.changes(opened.school, school_settings.AIRCRAFT_MODELS)[:_LATEST]
    return opened.page(
        "aircraft_models",
        "aircraft",
        status=form.status,
        links=links,
        listed=every,
        names=[each.model.name for each in every],
        unlink=form if isinstance(form, Unlink) else None,
        link=sent_or_new(form, Link),
        add=sent_or_new(form, Add, **_ADDED),
        changes=[
            {"day": day(opened.school.day(each.at)), "by": str(each.by), "said": _said(each)} for each in made
        ],
    )


def _said(change: school_settings.SchoolChange) -> list[str]:
    """What was added and removed, one line each."""
    before, after = (
        {(each["spelling"], each["model"]) for each in some} for some in (change.before, change.after)
    )
    came = [
        gettext("linked: %(spelling)s means %(model)s") % {"spelling": one, "model": other}
        for one, other in sorted(after - before)
        if one != other
    ]
    added = [
        gettext("added: %(model)s") % {"model": one} for one, other in sorted(after - before) if one == other
    ]
    gone = [gettext("removed: %(spelling)s") % {"spelling": one} for one, _other in sorted(before - after)]
    return [*added, *came, *gone]
