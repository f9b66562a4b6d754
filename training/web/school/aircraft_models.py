"""Which spellings the school takes for one make and model: linked, unlinked, and models of its own."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from syllabus.engine import reading
from syllabus.engine.reading import Faults
from syllabus.engine.vocabulary import CATEGORIES, CLASSES
from training.services import aircraft_models, school_settings
from training.services.aircraft_models import ModelError
from training.services.errors import NotAllowed
from training.web.school import opening
from training.web.school.opening import Opened, administered
from training.web.shown import day

_LATEST = 20


@require_http_methods(["GET", "HEAD", "POST"])
@administered
def listed(opened: Opened) -> HttpResponse:
    """GET: every model with its spellings. POST: one more spelling is linked."""
    if opened.request.method != "POST":
        return _page(opened, {}, {})
    sent = {key: str(opened.request.POST.get(key, "")).strip() for key in ("spelling", "model")}
    faults = Faults()
    for key, text in sent.items():
        reading.name(faults, text, key)
    return _done(
        opened,
        faults,
        sent,
        lambda: aircraft_models.link(opened.school.slug, **sent, by=opened.user, at=opened.at),
        _("%(spelling)s now means %(model)s.") % sent,
    )


@require_POST
@administered
def add(opened: Opened) -> HttpResponse:
    """Add a model of the school's own."""
    sent = {
        f"new_{key}": str(opened.request.POST.get(key, "")).strip() for key in ("model", "category", "class")
    }
    faults = Faults()
    reading.name(faults, sent["new_model"], "new_model")
    return _done(
        opened,
        faults,
        sent,
        lambda: aircraft_models.add(
            opened.school.slug,
            sent["new_model"],
            sent["new_category"] or None,
            sent["new_class"] or None,
            by=opened.user,
            at=opened.at,
        ),
        _("Model %(model)s added.") % {"model": sent["new_model"]},
        prefix="new_",
    )


@require_POST
@administered
def unlink(opened: Opened) -> HttpResponse:
    """Take a link, or a model of the school's own, away again."""
    spelling = str(opened.request.POST.get("spelling", ""))
    return _done(
        opened,
        Faults(),
        {},
        lambda: aircraft_models.unlink(opened.school.slug, spelling, by=opened.user, at=opened.at),
        _("%(spelling)s is no longer linked by the school.") % {"spelling": spelling},
        prefix=None,
    )


def _done(
    opened: Opened,
    faults: Faults,
    sent: dict[str, str],
    do: Callable[[], object],
    said: str,
    *,
    prefix: str | None = "",
) -> HttpResponse:
    """Do it and go back to the list; else the page with what was typed and why not.

    ``prefix`` stands before the names of the form's fields; without one, what is wrong is said at the top.
    """
    if not faults:
        try:
            do()
        except ModelError as problem:
            for each in problem.faults:
                faults.add("" if prefix is None else f"{prefix}{each.place}", each.message)
        except NotAllowed as refused:
            faults.add("", str(refused))
        else:
            messages.success(opened.request, said)
            return redirect("school-aircraft-models", opened.school.slug)
    found = opening.by_field(faults)
    if "new_spelling" in found:  # a model's own spelling is the model itself
        found["new_model"] = found.pop("new_spelling")
    return _page(opened, found, sent, 422)


def _page(opened: Opened, faults: dict[str, str], sent: dict[str, str], status: int = 200) -> HttpResponse:
    links = aircraft_models.own(opened.school)
    every = aircraft_models.listed(links)
    made = school_settings.changes(opened.school, school_settings.AIRCRAFT_MODELS)[:_LATEST]
    return opened.page(
        "aircraft_models",
        "aircraft",
        status=status,
        links=links,
        listed=every,
        names=[each.model.name for each in every],
        categories=CATEGORIES,
        classes=CLASSES,
        faults=faults,
        sent=sent,
        changes=[
            {"day": day(opened.school.day(each.at)), "by": str(each.by), "said": _said(each)} for each in made
        ],
    )


def _said(change: school_settings.SchoolChange) -> list[str]:
    """What came and what went, a line each."""
    before, after = (
        {(each["spelling"], each["model"]) for each in some} for some in (change.before, change.after)
    )
    came = [
        _("linked: %(spelling)s means %(model)s") % {"spelling": one, "model": other}
        for one, other in sorted(after - before)
        if one != other
    ]
    added = [_("added: %(model)s") % {"model": one} for one, other in sorted(after - before) if one == other]
    gone = [_("removed: %(spelling)s") % {"spelling": one} for one, _other in sorted(before - after)]
    return [*added, *came, *gone]
