"""The people of the school and their roles. New people set their own passwords."""

import re
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from syllabus.engine.audit.instructing import MOST_RATINGS
from syllabus.engine.record.vocabulary import CATEGORIES, CLASSES
from training.models import PeopleChange, Role, School
from training.reports import instructing
from training.services.people import account_links as links
from training.services.people import invitations as offered
from training.services.people import people
from training.web.people import invitations
from training.web.shared.forms import Checkbox, Choice, Day, Form, Text, sent_or_new
from training.web.shared.law import cite
from training.web.shared.opening import Opened, administered
from training.web.shared.report_presenter import day

MOST_CHANGES = 40
#: The fewest rating lines on the form; a role with more ratings has one line for each.
LINES = 4
#: The kinds of certificate, in words.
INSTRUCTOR_KINDS = {
    "flight": _("Flight instructor"),
    "ground": _("Ground instructor"),
    "foreign": _("Instructor authorized by another country, abroad"),
    "armed-forces": _("Instructor of an armed force"),
}
_CATEGORIES = [("", _("none")), *((each, each) for each in CATEGORIES)]
_CLASSES = [("", _("not recorded")), *((each, each) for each in CLASSES)]
_INSTRUMENT = [("", _("not recorded")), ("yes", _("yes")), ("no", _("no"))]
#: The place of a rating, or of a part of one, in an error.
_RATING = re.compile(r"ratings\[(\d+)\](?:\.(category|class|instrument))?")
#: The rule behind each field of an instructor's role.
_CITED = {
    "instructor_kind": ("privileges", "ground-instructor", "training-only"),
    "recent_experience_until": ("recent-experience",),
}
_OF_A_PERSON = ("role", "name", "email", "birth_date", "training_model")


class Held(Form):
    """The certificate, recent experience and ratings of an instructor's role, with a line for each rating."""

    certificate = Text(_("Certificate number"))
    instructor_kind = Choice(_("Signs as"), INSTRUCTOR_KINDS.items())
    recent_experience_until = Day(
        _("Recent experience valid through (such as 2026-11-29; blank: not recorded)")
    )
    ratings_known = Checkbox(_("This list is complete. If it is empty, the person holds no rating."))

    def __init__(self, data: Any = None, *, school: School, role: Role | None = None, **more: Any) -> None:
        held = (role.ratings or []) if role else []
        begins = _as_held(role, held) if role else {}
        super().__init__(data, **{"initial": begins, **more})
        for field, rules in _CITED.items():
            self.fields[field].help_text = ", ".join(cite("instructing", rule, school) for rule in rules)
        sent = (n for n in range(MOST_RATINGS) if data is not None and f"category-{n}" not in data)
        #: The number of lines; ``rated`` has the numbers of those with a category.
        self.number = max(LINES, len(held)) if data is None else next(sent, MOST_RATINGS)
        self.rated: list[int] = []
        for n in range(self.number):
            said = {"number": n + 1}
            self.fields[f"category-{n}"] = Choice(gettext("Category %(number)d") % said, _CATEGORIES)
            self.fields[f"class-{n}"] = Choice(gettext("Class %(number)d") % said, _CLASSES)
            self.fields[f"instrument-{n}"] = Choice(gettext("Instrument %(number)d") % said, _INSTRUMENT)

    def lines(self) -> list[list[Any]]:
        return [
            [self[f"{key}-{n}"] for key in ("category", "class", "instrument")] for n in range(self.number)
        ]

    def clean(self) -> dict[str, Any]:
        """Combine all fields into one value, ``held``; a certificate kind that was not sent stays."""
        sent = self.cleaned_data
        self.rated = [n for n in range(self.number) if sent.get(f"category-{n}")]
        rated = [
            {
                "category": sent[f"category-{n}"],
                **({"class": klass} if (klass := sent.get(f"class-{n}")) else {}),
                **({"instrument": told == "yes"} if (told := sent.get(f"instrument-{n}")) else {}),
            }
            for n in self.rated
        ]
        held = {
            "certificate": sent.get("certificate"),
            "recent_experience_until": sent.get("recent_experience_until"),
            "ratings": rated if rated or sent.get("ratings_known") else None,
        }
        if "instructor_kind" in self.data:
            held["instructor_kind"] = sent.get("instructor_kind")
        return {"held": held}

    def refuse(self, message: str, place: str = "") -> None:
        """Move an error of the nth rating to its line; the service does not count empty lines."""
        if found := _RATING.fullmatch(place):
            place = f"{found[2] or 'category'}-{self.rated[int(found[1])]}"
        super().refuse(message, place)


def _as_held(role: Role, held: list[dict[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {
        "certificate": role.certificate,
        "instructor_kind": role.instructor_kind,
        "recent_experience_until": role.recent_experience_until,
        "ratings_known": role.ratings is not None,
    }
    for n, each in enumerate(held):
        found |= {f"category-{n}": each.get("category"), f"class-{n}": each.get("class")}
        found[f"instrument-{n}"] = {True: "yes", False: "no", None: ""}[each.get("instrument")]
    return found


class Person(Held):
    """A new person; the fields depend on the role."""

    refused_at = "email"
    field_order = ("role", "name", "email")

    role = Text("", widget=forms.HiddenInput)
    name = Text(_("Display name"))
    email = Text(
        _("E-mail address"),
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
        help_text=_("This address gets an invitation. No one else knows the password."),
    )
    birth_date = Day(
        _("Birth date (such as 2009-11-29)"),
        help_text=_("Needed for the age requirements of the regulations."),
    )
    training_model = Text(_("Usual training aircraft model, such as C172"))

    def __init__(self, data: Any = None, **more: Any) -> None:
        super().__init__(data, **more)
        self.kind = str(self["role"].value())
        if self.kind == Role.Kind.STUDENT:
            self.fields["email"].label = gettext("E-mail address (blank: no account yet)")
        else:
            del self.fields["birth_date"], self.fields["training_model"]

    def clean(self) -> dict[str, Any]:
        sent = {key: self.cleaned_data[key] for key in _OF_A_PERSON if key in self.cleaned_data}
        return {**sent, **(super().clean() if self.kind == Role.Kind.INSTRUCTOR else {})}


class End(Form):
    refused_at = "sure"

    sure = Checkbox("", unchecked=_("Not ended. Check the box to confirm."))

    def __init__(self, data: Any = None, *, role: Role, **more: Any) -> None:
        super().__init__(data, **more)
        said = {"role": role_name(role), "who": role.user}
        self.fields["sure"].label = gettext("Yes, end the role %(role)s of %(who)s") % said


@administered("GET")
def listed(opened: Opened) -> HttpResponse:
    """Everybody with a role, and the latest changes."""
    changes = PeopleChange.objects.filter(school=opened.school).select_related("by", "user", "student")
    return opened.page(
        "people",
        "people",
        roles=[_shown(each, opened) for each in people.roles_of(opened.school)],
        invitations=invitations.shown(offered.of(opened.school), opened.at),
        changes=[
            {
                "row": each,
                "at": f"{day(opened.school.day(each.at))}",
                "said": _said(each),
                "by": gettext("the person invited") if each.what.endswith(" declined") else each.by,
            }
            for each in changes[:MOST_CHANGES]
        ],
    )


def role_name(role: Role) -> str:
    """A role's name in the language of the page."""
    return {
        Role.Kind.STUDENT: gettext("student"),
        Role.Kind.INSTRUCTOR: gettext("instructor"),
        Role.Kind.ADMINISTRATOR: gettext("administrator"),
    }[Role.Kind(role.role)]


def _shown(role: Role, opened: Opened) -> dict[str, Any]:
    held, last = instructing.ratings(role), role.recent_experience_until
    return {
        "row": role,
        "name": role_name(role),
        "teaches": role.role == Role.Kind.INSTRUCTOR,
        "ratings": None if held is None else [str(each) for each in held],
        "recent": day(last),
        "over": last is not None and last < opened.today,
    }


def _said(change: PeopleChange) -> str:
    parts = []
    for words, held in ((gettext("before"), change.before), (gettext("now"), change.after)):
        told = ", ".join(
            _value(value) if key in ("name", "email") else f"{key.replace('_', ' ')} {_value(value)}"
            for key, value in (held or {}).items()
            if value not in (None, "") and key != "id"
        )
        if told:
            parts.append(f"{words}: {told}")
    return "; ".join(parts)


def _value(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(
            " ".join(filter(None, (each.get("category"), each.get("class")))) for each in value
        ) or gettext("none")
    return str(value)


@administered("GET", "POST")
def add(opened: Opened) -> HttpResponse:
    """Add somebody of the school, or invite them by e-mail."""
    kind = str(opened.request.GET.get("role", "student"))
    begins = {"role": kind if kind in Role.Kind.values else "student"}
    form = Person.bind(opened.request, school=opened.school, initial=begins)
    if not form.submit(
        lambda role, **sent: people.add(opened.school, kind=role, by=opened.user, at=opened.at, **sent)
    ):
        return opened.page(
            "person_add",
            "people",
            status=form.status,
            form=form,
            kinds=[
                ("student", gettext("Student")),
                ("instructor", gettext("Instructor")),
                ("administrator", gettext("Administrator")),
            ],
        )
    made = form.result
    said = (
        [gettext("%(who)s added.") % {"who": made.user or made.student}] if made.user or made.student else []
    )
    if made.invitation is not None:
        said.append(offered.send(opened.request, made.invitation))
    messages.success(opened.request, " ".join(said))
    if made.student is not None:
        return redirect("school-student", opened.school.slug, made.student.ref)
    return redirect("school-people", opened.school.slug)


@administered("GET", "POST")
def role(opened: Opened, pk: int) -> HttpResponse:
    """One role: view and change what it holds, and end it."""
    found = role_of(opened, pk)
    form = Held.bind(opened.request, school=opened.school, role=found)
    if form.submit(lambda held: people.change(found, held, by=opened.user, at=opened.at)):
        said = gettext("Certificates of %(who)s saved.") % {"who": found.user}
        return opened.done(said, "school-people")
    return _page(opened, found, form)


def role_of(opened: Opened, pk: int) -> Role:
    """A role at the school with its user. Raises: Http404."""
    found = get_object_or_404(people.roles_of(opened.school), pk=pk)
    found.school = opened.school
    return found


def _page(opened: Opened, found: Role, form: Held | End) -> HttpResponse:
    return opened.page(
        "person",
        "people",
        status=form.status,
        role=found,
        role_name=role_name(found),
        teaches=found.role == Role.Kind.INSTRUCTOR,
        oneself=found.user_id == opened.user.pk,
        form=sent_or_new(form, Held, school=opened.school, role=found),
        end=sent_or_new(form, End, role=found),
    )


@administered("POST")
def end(opened: Opened, pk: int) -> HttpResponse:
    """End a role, once its checkbox is ticked."""
    found = role_of(opened, pk)
    form = End.bind(opened.request, role=found)
    if not form.submit(lambda sure: people.end(found, by=opened.user, at=opened.at)):
        return _page(opened, found, form)
    ended = {"who": found.user, "role": role_name(found), "school": opened.school.name}
    messages.success(opened.request, gettext("%(who)s is no longer %(role)s at %(school)s.") % ended)
    return redirect("school-people" if found.user_id != opened.user.pk else "home", *_back(opened, found))


def _back(opened: Opened, found: Role) -> list[str]:
    return [] if found.user_id == opened.user.pk else [opened.school.slug]


@administered("POST")
def mail(opened: Opened, pk: int) -> HttpResponse:
    """Send another link to set a password."""
    found = role_of(opened, pk)
    return opened.done(
        links.queue(opened.request, found.user.email, opened.school).words, "school-person", pk
    )
