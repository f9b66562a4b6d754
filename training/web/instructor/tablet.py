"""The tablet offline: the data it downloads, the page it opens, and how it syncs."""

import json
import uuid
from functools import cache
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from syllabus.courses import outlines
from syllabus.engine.places.geography import Place, airports, identifiers
from syllabus.engine.time.instants import in_utc
from training.models import LessonRecord
from training.reports import progress
from training.services.lessons import tablet_entries
from training.services.signing import nonces, reauthentication
from training.web.instructor import sheet, sheet_rules, tablet_courses
from training.web.instructor import today as board
from training.web.instructor.lessons import sheet_context
from training.web.instructor.opening import Fleet, Taught, teaches
from training.web.shared import language
from training.web.shared.opening import SignedIn, signed_in

#: The most students and airports that a tablet downloads for the day.
MOST_STUDENTS, MOST_AIRPORTS = 12, 60
_CODE = (
    *("page", "shell", "box", "queue", "store", "content", "sheet", "sign", "leave"),
    *("amounts", "build", "check", "counted", "entry", "written", "releases"),
)
_FILES = (
    "training/pages.css",
    "training/mark.svg",
    "training/by_passkey.js",
    "training/passkeys.js",
    "training/words.js",
    "training/tablet/tablet.css",
    "training/tablet/icon-192.png",
    *(f"training/tablet/{each}.js" for each in _CODE),
)


@require_safe
def shell(request: HttpRequest) -> HttpResponse:
    """The page that a tablet opens offline; it holds nobody's data.

    The service worker fetches it without a session, so its URL names the language.
    """
    with language.of_address(str(request.GET.get("language", ""))):
        return render(request, "training/instructor/shell.html", {"written": sheet_rules.for_tablet()})


@require_safe
def manifest(request: HttpRequest) -> HttpResponse:
    """The web app manifest (W3C), for the tablet's home screen."""
    icons = [
        {"src": static(f"training/tablet/icon-{size}.png"), "sizes": f"{size}x{size}", "type": "image/png"}
        for size in (192, 512)
    ]
    told = {
        "id": reverse("today"),
        "name": _("Student pilot training record"),
        "short_name": _("Training"),
        "lang": get_language(),
        "start_url": reverse("today"),
        "scope": "/",
        "display": "standalone",
        "background_color": "#faf8f2",
        "theme_color": "#22405c",
        "icons": [*icons, {**icons[-1], "purpose": "maskable"}],
    }
    return HttpResponse(json.dumps(told), content_type="application/manifest+json")


@require_safe
@never_cache
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker, for the whole site: it must be served from its root."""
    named = {static(each) for each in _FILES}
    # A module imports another by the name written in its source.
    plain = {f"{static('')}{each}" for each in _FILES}
    written = get_language() or settings.LANGUAGE_CODE
    files = [*sorted(named | plain), reverse("words", args=[written])]
    told = {"shell": f"{reverse('tablet')}?{urlencode({'language': written})}", "files": json.dumps(files)}
    text = render_to_string("training/instructor/worker.js", told)
    return HttpResponse(text, content_type="text/javascript")


@require_safe
@never_cache
def token(request: HttpRequest) -> JsonResponse:
    """Who is signed in, a fresh CSRF token, and the server's clock."""
    user = request.user if request.user.is_authenticated else None
    return JsonResponse(
        {"user": user and str(user.pk), "csrf": get_token(request), "now": in_utc(timezone.now())}
    )


@signed_in("GET")
def nearby(request: SignedIn) -> JsonResponse:
    """Airports that match a few letters; login required, so that strangers cannot load the database."""
    found = airports().like(str(request.GET.get("q", ""))[:40], 8)
    return JsonResponse({"airports": [{"key": each.key, "name": each.name} for each in found]})


@signed_in("POST")
def decisions(request: SignedIn) -> JsonResponse:
    """Log what an instructor decided on an entry that the school refused."""
    try:
        said = {key: str(each)[:200] for key, each in json.loads(request.body).items() if each is not None}
    except (ValueError, AttributeError):
        return JsonResponse({"detail": _("This is no decision.")}, status=422)
    at = timezone.now()
    tablet_entries.log_decision(request.user, said, at)
    return JsonResponse({"logged": in_utc(at)})


@signed_in("GET")
def airport_table(request: SignedIn) -> JsonResponse:
    """Every identifier that the server reads, so that a tablet refuses the others offline."""
    return JsonResponse({"made": in_utc(timezone.now()), "table": _airport_table()})


@cache
def _airport_table() -> str:
    icao, also = identifiers()
    return " ".join([*icao, *(f"{typed}:{key}" for typed, key in also.items())])


@signed_in("GET")
def pack(request: SignedIn) -> JsonResponse:
    """The data to download: the students with the most urgent first, each with the next sheet.

    Of a record it has the student's name, what needs the instructor, the sheets to fill in, the newest grades
    and the newest signed lessons, which the instructor may correct offline. ``?student=`` gives one student
    alone, for an entry of a student who is not among the day's.
    """
    if not teaches(request.user):
        return JsonResponse({"user": str(request.user.pk), "students": [], "airports": [], "passkeys": []})
    at = timezone.now()
    asked = request.GET.get("student")
    every = board.of(request.user, at)
    pupils = [each for each in every if asked in (None, str(each.student.ref))][:MOST_STUDENTS]
    board.note_read(pupils, request.user, at)
    drafts: dict[int, list[LessonRecord]] = {}
    rows = LessonRecord.objects.filter(
        student__in=[each.student for each in pupils], instructor=request.user, state=LessonRecord.State.DRAFT
    ).select_related("course_version__course")
    for each in rows:
        drafts.setdefault(each.student_id, []).append(each)
    fleets: dict[int, Fleet] = {}
    taught = {each.student.pk: Taught(each.student, request.user, at, fleets=fleets) for each in pupils}
    kept = tablet_courses.Kept(taught.values())
    students = [
        _taken(taught[each.student.pk], each, drafts.get(each.student.pk, []), kept) for each in pupils
    ]
    return JsonResponse(
        {
            "user": str(request.user.pk),
            "made": in_utc(at),
            "passkeys": reauthentication.passkeys(request.user),
            "nonces": [nonces.draw(request.user) for _ in range(nonces.FOR_A_DAY)],
            "airports": _around(pupils),
            "courses": kept.courses,
            "students": students,
        }
    )


def _taken(
    whose: Taught, pupil: board.Pupil, drafts: list[LessonRecord], kept: tablet_courses.Kept
) -> dict[str, Any]:
    sheets = [_sheet(whose, each) for each in drafts]
    sheets.append(_sheet(whose, blank(whose, pupil.next)))
    return {
        "ref": str(whose.student.ref),
        "name": whose.student.name,
        "needs": [each.words for each in pupil.needs],
        "next": pupil.next
        and {
            "lesson": pupil.next["lesson"],
            "title": pupil.next["title"],
            "why": [each["words"] for each in pupil.next["why"][:3]],
        },
        "sheets": sheets,
        **kept.of(whose),
    }


def blank(whose: Taught, proposal: dict[str, Any] | None) -> LessonRecord:
    """An unsaved draft: the planned next lesson, or an empty sheet."""
    content: dict[str, Any] = {"flight": None, "ground": None, "items": [], "comments": "", "next": ""}
    lesson = ""
    if proposal:
        lesson = proposal["lesson"]
        content["items"] = [{"item": each["item"], "grade": sheet.NOT_OBSERVED} for each in proposal["items"]]
    held = progress.enrolment(whose.student, whose.today)
    return LessonRecord(
        id=uuid.uuid4(),
        school_id=whose.student.school_id,
        student=whose.student,
        lesson=lesson,
        course_version=held.course_version if held else None,
        content=content,
        version=0,
    )


def _sheet(whose: Taught, record: LessonRecord) -> dict[str, Any]:
    outline = outlines.published(record.course_version) if record.course_version else None
    given = sheet.values(record.content, whose.zone, outline)
    context = sheet_context(whose, record, outline, None, given)
    html = render_to_string("training/instructor/sheet_form.html", {**context, "saved": False})
    return {
        "record": str(record.pk),
        "draft": not record._state.adding,
        "lesson": record.lesson,
        "title": context["planned"].title if context["planned"] else "",
        "html": html,
    }


def _around(pupils: list[board.Pupil]) -> list[dict[str, str]]:
    """Airports near those that these students use, for the sheet offline."""
    recent = (
        LessonRecord.objects.filter(
            student__in=[each.student for each in pupils], content__flight__route__0__isnull=False
        )
        .order_by("-created_at")
        .values_list("content__flight__route", flat=True)[:20]
    )
    found: dict[str, Place] = {}
    table = airports()
    for route in recent:
        for point in route:
            if isinstance(point, str) and point not in found:
                found[point] = table.find(point)
    for place in list(found.values())[:3]:
        if place.known:
            found.update({each.key: each for each in table.near(place, MOST_AIRPORTS // 3)})
    return [{"key": each.key, "name": each.name} for each in list(found.values())[:MOST_AIRPORTS]]
