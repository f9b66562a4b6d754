"""The school's courses: read, print, draft from a file, compare, publish."""

from typing import Any

from allauth.core import ratelimit
from django import forms
from django.http import Http404, HttpResponse
from django.utils.translation import gettext, gettext_lazy
from django.utils.translation import gettext_noop as _

from syllabus.courses import files
from syllabus.engine.course import changes
from syllabus.engine.course.course import CourseError, Outline
from syllabus.engine.errors import Error
from syllabus.models import CourseVersion
from training.presenters import amounts
from training.services.courses import courses
from training.services.courses.courses import Address
from training.services.errors import NotAllowed, NotAsRead, Refused
from training.services.signing import reauthentication
from training.services.signing.reauthentication import NotConfirmed
from training.web.shared.forms import Form, Text
from training.web.shared.opening import Opened, administered
from training.web.shared.report_presenter import day

_KINDS = {
    "dual": _("dual"),
    "solo": _("solo"),
    "cross_country": _("cross-country"),
    "night": _("night"),
    "instrument": _("instrument"),
    "preparation": _("preparation"),
    "ground": _("ground"),
}


class Draft(Form):
    begin = Text("")
    file = forms.FileField(label=gettext_lazy("Course file"), required=False, allow_empty_file=True)


class Publish(Form):
    content_hash = Text("", widget=forms.HiddenInput)
    password = forms.CharField(
        label=gettext_lazy("Your password"),
        required=False,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password", "required": True}),
    )


class TooOften(NotConfirmed):
    """Too many attempts at the password."""


#: HTTP statuses of a page that shows why nothing was published.
_REFUSED: dict[type, int] = {TooOften: 429, NotAllowed: 403, NotAsRead: 409}


@administered("GET", "POST")
def listed(opened: Opened) -> HttpResponse:
    """GET: every course with its versions. POST: save a file as the draft of the next version."""
    if opened.request.method == "POST":
        return _draft(opened)
    return _list(opened, ())


def _list(opened: Opened, errors: Any, status: int = 200) -> HttpResponse:
    own = opened.school.course_ref
    shown = [
        {
            "address": str(address),
            "title": versions[-1].title,
            "own": address.school == own,
            "versions": [
                {
                    "row": each,
                    "published": day(each.published_at and opened.school.day(each.published_at)),
                    "by": courses.publisher(each),
                }
                for each in reversed(versions)
            ],
        }
        for address, versions in courses.listed(opened.user)
        if address.school in (None, own)
    ]
    there = {str(each["address"]).partition("@")[0] for each in shown}
    return opened.page(
        "courses",
        "courses",
        courses=shown,
        shipped=[name for name in courses.shipped() if name not in there],
        errors=errors,
        status=status,
    )


def _draft(opened: Opened) -> HttpResponse:
    form = Draft.bind(opened.request, files=opened.request.FILES)
    form.is_valid()
    if begun := courses.shipped().get(form.cleaned_data.get("begin", "")):
        return _kept(opened, begun.read_bytes(), begun.name)
    sent = form.cleaned_data.get("file")
    if sent is None:
        return _list(opened, [Error("", gettext("Choose a course file."))], 422)
    name = (sent.name or "course.yaml").replace("\x00", "")[-100:]
    if sent.size is None or sent.size > courses.MOST_BYTES:
        most = courses.MOST_BYTES // 1024
        return _list(
            opened,
            [Error(name, gettext("is larger than %(most)d KB, the most for a course") % {"most": most})],
            422,
        )
    return _kept(opened, sent.read(), name)


def _kept(opened: Opened, raw: bytes, name: str) -> HttpResponse:
    """Save the file as the draft of the next version, or return its errors."""
    try:
        stands = files.read_bytes(raw, name)
        # The page shows the newest version beside the form; the file replaces its draft.
        saved = courses.put(
            opened.user, Address(stands.code, opened.school.course_ref), stands, fits=lambda newest: True
        )
    except CourseError as problem:
        return _list(opened, problem.errors, 422)
    except Refused as refused:
        return _list(opened, [Error(name, str(refused))], 422)
    version = saved.version
    said = (
        gettext("The file is the same as the latest version. Nothing was changed.")
        if not saved.changed
        else gettext("Draft of version %(number)d saved. Review and compare it, then publish it.")
        % {"number": version.number}
    )
    return opened.done(said, "school-course", Address.of(version.course), version.number)


@administered("GET")
def course(opened: Opened, course: str, number: int) -> HttpResponse:
    """A version in full; ``with`` in the query compares it with another version."""
    return _read(opened, *_versions(opened, course, number))


@administered("GET")
def file(opened: Opened, course: str, number: int) -> HttpResponse:
    """A version as a course file, which reads back the same."""
    found, _others = _versions(opened, course, number)
    answer = HttpResponse(files.write(courses.outline(found)), content_type="application/yaml; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{found.course.code}-{number}.yaml"'
    return answer


def _versions(opened: Opened, course: str, number: int) -> tuple[CourseVersion, list[CourseVersion]]:
    """A version of a course, and the others of it."""
    versions = courses.of_administrator(opened.school, Address.read(course))
    found = next((each for each in versions if each.number == number), None)
    if found is None:
        raise Http404("no course of that name and version at this school")
    return found, [each for each in versions if each.number != number]


def _read(
    opened: Opened, found: CourseVersion, others: list[CourseVersion], form: Publish | None = None
) -> HttpResponse:
    address = Address.of(found.course)
    stands = courses.outline(found)
    told: dict[str, Any] = {}
    asked = str(opened.request.GET.get("with", ""))
    if asked:
        other = next((each for each in others if str(each.number) == asked), None)
        if other is None:
            raise Http404("no other version of that number")
        told = {
            "other": other,
            "changes": changes.compare(courses.outline(other), stands),
        }
    return opened.page(
        "course",
        "courses",
        status=_REFUSED.get(type(form.refused), form.status) if form else 200,
        form=form or Publish(initial={"content_hash": found.content_hash}),
        version=found,
        address=str(address),
        own=address.school == opened.school.course_ref,
        published=day(found.published_at and opened.school.day(found.published_at)),
        publisher=courses.publisher(found),
        others=others,
        outline=_shown(stands),
        **told,
    )


def _shown(stands: Outline) -> dict[str, Any]:
    """The outline in order, with times in words and each item below the lesson that plans it."""
    return {
        "says": stands.says,
        "flight": amounts.hours(stands.planned("total")),
        "ground": amounts.hours(stands.ground_time),
        "minimums": stands.minimums,
        "stages": [
            {
                "row": stage,
                "lessons": [
                    {
                        "row": lesson,
                        "times": ", ".join(
                            f"{gettext(_KINDS[kind])} {amounts.hours(time)}"
                            for kind, time in lesson.times.items()
                            if time
                        ),
                        "items": [
                            {"code": code, "title": stands.by_code[code].title, "grade": grade}
                            for code, grade in lesson.items.items()
                        ],
                    }
                    for lesson in stage.lessons
                ],
            }
            for stage in stands.stages
        ],
        "items": [
            {
                "row": item,
                "standard": [
                    {"name": each.name, "says": each.says, "source": each.source, "verified": each.verified}
                    for each in item.standard
                ],
                "first": ", ".join(item.prerequisites),
                "proves": ", ".join(item.proves),
            }
            for item in stands.items
        ],
    }


@administered("POST")
def publish(opened: Opened, course: str, number: int) -> HttpResponse:
    """Publish a draft, with re-authentication, exactly as it was read."""
    found, others = _versions(opened, course, number)

    def publish(content_hash: str, password: str) -> CourseVersion:
        if not ratelimit.consume(opened.request, action="reauthenticate", user=opened.user):
            raise TooOften(gettext("Not published. Too many attempts. Wait one minute, then try again."))
        wrong = gettext("Not published. Wrong password. Enter your own password again.")
        reauthentication.check_password(opened.user, password, wrong)
        address = Address.of(found.course)
        return courses.publish(opened.user, address, number, content_hash=content_hash, at=opened.at)

    form = Publish.bind(opened.request)
    if not form.submit(publish):
        return _read(opened, found, others, form)
    made = form.result
    return opened.done(
        gettext("Version %(number)d published. New enrollments use it.") % {"number": made.number},
        "school-course",
        course,
        number,
    )
