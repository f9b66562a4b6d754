"""The people of the school and what each is there. A new person's password is set by that person alone."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from syllabus.engine.instructing import MOST_RATINGS
from syllabus.engine.reading import Faults
from syllabus.engine.vocabulary import CATEGORIES, CLASSES
from training.models import PeopleChange, Role
from training.reports import instructing
from training.services import people
from training.services.errors import Conflict
from training.services.people import PeopleError
from training.web.accounts import links
from training.web.school import opening
from training.web.school.opening import Opened, administered
from training.web.shown import day

MOST_CHANGES = 40
#: Ratings that the form has lines for, at least: a role with more has one for each.
LINES = 4
#: What an instructor signs as, in words.
INSTRUCTOR_KINDS = {
    "flight": gettext_lazy("Flight instructor"),
    "ground": gettext_lazy("Ground instructor"),
    "foreign": gettext_lazy("Instructor authorized by another country, abroad"),
    "armed-forces": gettext_lazy("Instructor of an armed force"),
}
_FIELDS = (
    "role",
    "name",
    "email",
    "birth_date",
    "training_model",
    "certificate",
    "instructor_kind",
    "recent_experience_until",
)


@require_safe
@administered
def listed(opened: Opened) -> HttpResponse:
    """Everybody with a role, and the changes made last."""
    changes = PeopleChange.objects.filter(school=opened.school).select_related("by", "user", "student")
    return opened.page(
        "people",
        "people",
        roles=[_shown(each, opened) for each in people.roles_of(opened.school)],
        changes=[
            {"row": each, "at": f"{day(opened.school.day(each.at))}", "said": _said(each)}
            for each in changes[:MOST_CHANGES]
        ],
    )


def role_name(role: Role) -> str:
    """What somebody is at a school, in the language of the page."""
    return {
        Role.Kind.STUDENT: _("student"),
        Role.Kind.INSTRUCTOR: _("instructor"),
        Role.Kind.ADMINISTRATOR: _("administrator"),
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
    for words, held in ((_("before"), change.before), (_("now"), change.after)):
        told = ", ".join(
            f"{key.replace('_', ' ')} {_value(value)}"
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
        ) or _("none")
    return str(value)


@require_http_methods(["GET", "HEAD", "POST"])
@administered
def add(opened: Opened) -> HttpResponse:
    """Add somebody: the account, and the mail by which they set their password."""
    if opened.request.method != "POST":
        kind = str(opened.request.GET.get("role", "student"))
        return _form(opened, {}, {"role": kind if kind in Role.Kind.values else "student"})
    sent = {key: str(opened.request.POST.get(key, "")) for key in _FIELDS}
    faults = Faults()
    born = opening.day(faults, "birth_date", sent["birth_date"])
    held = _held(opened, faults) if sent["role"] == Role.Kind.INSTRUCTOR else None
    if not faults:
        try:
            made = people.add(
                opened.school,
                kind=sent["role"],
                name=sent["name"],
                email=sent["email"],
                by=opened.user,
                at=opened.at,
                held=held,
                birth_date=born,
                training_model=sent["training_model"],
            )
        except PeopleError as problem:
            faults.extend(problem.faults)
        except Conflict as refused:
            faults.add("email", str(refused))
        else:
            who = str(made.user or made.student)
            said = [_("%(who)s added.") % {"who": who}]
            if made.user is not None and made.new_account:
                said.append(links.send(opened.request, made.user.email).words)
            elif made.user is not None:
                said.append(_("An account with this e-mail already exists and is used."))
            messages.success(opened.request, " ".join(said))
            if made.student is not None:
                return redirect("school-student", opened.school.slug, made.student.ref)
            return redirect("school-people", opened.school.slug)
    return _form(opened, opening.by_field(faults), sent, 422)


def _form(opened: Opened, faults: dict[str, str], sent: dict[str, str], status: int = 200) -> HttpResponse:
    return opened.page(
        "person_add",
        "people",
        status=status,
        kinds=[
            ("student", _("Student")),
            ("instructor", _("Instructor")),
            ("administrator", _("Administrator")),
        ],
        faults=faults,
        sent=sent,
        **_lines(opened, None),
    )


def _lines(opened: Opened, role: Role | None) -> dict[str, Any]:
    """The lines of the form for ratings: those that were sent, else those of the role, and empty ones."""
    if opened.request.method == "POST":
        post = opened.request.POST
        rows = [
            {key: post.get(f"{key}-{number}", "") for key in ("category", "class", "instrument")}
            for number in _numbers(opened)
        ]
        known = bool(post.get("ratings_known"))
    else:
        held = (role.ratings or []) if role else []
        rows = [
            {
                "category": each.get("category", ""),
                "class": each.get("class") or "",
                "instrument": {True: "yes", False: "no"}.get(each.get("instrument"), ""),
            }
            for each in held
        ]
        rows += [{"category": "", "class": "", "instrument": ""}] * (LINES - len(rows))
        known = role is not None and role.ratings is not None
    return {
        "lines": rows,
        "ratings_known": known,
        "instructor_kinds": list(INSTRUCTOR_KINDS.items()),
        "categories": CATEGORIES,
        "classes": CLASSES,
    }


def _numbers(opened: Opened) -> range:
    """The numbers of the lines that were sent."""
    sent = range(MOST_RATINGS)
    return range(next((each for each in sent if f"category-{each}" not in opened.request.POST), MOST_RATINGS))


def _held(opened: Opened, faults: Faults) -> dict[str, Any]:
    """What an instructor's role is to hold, as it was sent."""
    post = opened.request.POST
    rated = []
    for number in _numbers(opened):
        category = str(post.get(f"category-{number}", ""))
        if category:
            made: dict[str, Any] = {"category": category}
            if post.get(f"class-{number}"):
                made["class"] = str(post[f"class-{number}"])
            if post.get(f"instrument-{number}") in ("yes", "no"):
                made["instrument"] = post[f"instrument-{number}"] == "yes"
            rated.append(made)
    return {
        "certificate": str(post.get("certificate", "")),
        **({"instructor_kind": str(post["instructor_kind"])} if "instructor_kind" in post else {}),
        "recent_experience_until": opening.day(
            faults, "recent_experience_until", str(post.get("recent_experience_until", ""))
        ),
        "ratings": rated if rated or post.get("ratings_known") else None,
    }


@require_http_methods(["GET", "HEAD", "POST"])
@administered
def role(opened: Opened, pk: int) -> HttpResponse:
    """One role: what it holds, changed; and its end."""
    found = role_of(opened, pk)
    if opened.request.method != "POST":
        return _page(opened, found, {})
    faults = Faults()
    held = _held(opened, faults)
    if not faults:
        try:
            people.change(found, held, by=opened.user, at=opened.at)
        except PeopleError as problem:
            faults.extend(problem.faults)
        else:
            messages.success(opened.request, _("Certificates of %(who)s saved.") % {"who": found.user})
            return redirect("school-people", opened.school.slug)
    return _page(opened, found, opening.by_field(faults), 422)


def role_of(opened: Opened, pk: int) -> Role:
    """A role at the school with its user. Raises: Http404."""
    found = people.roles_of(opened.school).filter(pk=pk).first()
    if found is None:
        raise Http404("no role of that number at this school")
    found.school = opened.school
    return found


def _page(opened: Opened, found: Role, faults: dict[str, str], status: int = 200) -> HttpResponse:
    last = found.recent_experience_until
    post = opened.request.POST if opened.request.method == "POST" and status == 422 else None
    return opened.page(
        "person",
        "people",
        status=status,
        role=found,
        role_name=role_name(found),
        teaches=found.role == Role.Kind.INSTRUCTOR,
        oneself=found.user_id == opened.user.pk,
        faults=faults,
        sent={
            "certificate": post.get("certificate", "") if post else found.certificate,
            "instructor_kind": post.get("instructor_kind", "") if post else found.instructor_kind,
            "recent_experience_until": post.get("recent_experience_until", "")
            if post
            else (last.isoformat() if last else ""),
        },
        **_lines(opened, found),
    )


@require_POST
@administered
def end(opened: Opened, pk: int) -> HttpResponse:
    """End a role, once the box is ticked that says so."""
    found = role_of(opened, pk)
    if not opened.request.POST.get("sure"):
        return _page(opened, found, {"sure": _("Not ended. Check the box to confirm.")}, 422)
    try:
        people.end(found, by=opened.user, at=opened.at)
    except Conflict as refused:
        return _page(opened, found, {"sure": str(refused)}, 422)
    ended = {"who": found.user, "role": role_name(found), "school": opened.school.name}
    messages.success(opened.request, _("%(who)s is no longer %(role)s at %(school)s.") % ended)
    return redirect("school-people" if found.user_id != opened.user.pk else "home", *_back(opened, found))


def _back(opened: Opened, found: Role) -> list[str]:
    return [] if found.user_id == opened.user.pk else [opened.school.slug]


@require_POST
@administered
def mail(opened: Opened, pk: int) -> HttpResponse:
    """Send the link to set a password once more."""
    found = role_of(opened, pk)
    messages.success(opened.request, links.send(opened.request, found.user.email).words)
    return redirect("school-person", opened.school.slug, pk)
