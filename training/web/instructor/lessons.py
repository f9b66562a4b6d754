"""The lesson sheet: start, fill in, review, sign and correct a lesson."""

import datetime as dt
import json
import uuid
from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _

from syllabus.courses import outlines
from syllabus.engine.course import proving
from syllabus.engine.course.course import Outline
from syllabus.engine.errors import Error
from syllabus.law import rulebook
from training.models import Correction, LessonRecord
from training.presenters import lesson as lesson_words
from training.presenters.days import day, instant
from training.presenters.reasons import PAGE
from training.reports import progress
from training.reports.eligibility import record_of
from training.services import access, signatures
from training.services.endorsements import signing_authority
from training.services.errors import Changed, NotAllowed, Refused
from training.services.lessons import (
    lesson_content,
    lesson_findings,
    lesson_plans,
    lesson_records,
    sign_offs,
)
from training.services.lessons.lesson_content import LessonError
from training.services.lessons.lesson_findings import Accepted, OpenFindings
from training.services.lessons.lesson_records import AlreadySigned
from training.services.signing import reauthentication
from training.web.instructor import sheet, sheet_check, sheet_rules
from training.web.instructor.forms import Begin, Correct
from training.web.instructor.opening import Taught, taught
from training.web.instructor.sheet_check import Look
from training.web.instructor.sheet_form import Known, SheetForm
from training.web.shared import refusals, signing
from training.web.shared.forms import as_typed, text_of, texts_of
from training.web.shared.opening import show


@taught("GET")
def student(request: HttpRequest, whose: Taught) -> HttpResponse:
    """A student for the instructor: the next lesson and why, other lessons, drafts and signed lessons."""
    whose.log(access.READ, "progress and lessons")
    stands = progress.standing(whose.student, whose.today)
    rows = list(lesson_records.visible(whose.student, whose.user, on=whose.at.date())[:50])
    shown = {
        "student": whose.student,
        "next": progress.next_json(stands.next, PAGE.words) if stands else None,
        "course": stands.version if stands else None,
        "lessons": [each.lesson for each in stands.progress.lessons.values()] if stands else [],
        "drafts": [each for each in rows if each.state == LessonRecord.State.DRAFT],
        "signed": [
            {"row": each, "day": _day_of(each.content)}
            for each in rows
            if each.state == LessonRecord.State.SIGNED
        ],
        "new": uuid.uuid4(),
        "today": day(whose.today),
    }
    return show(request, "training/instructor/student.html", shown)


def _day_of(content: Mapping[str, Any]) -> str:
    """The day of a signed lesson, which has a flight, a ground lesson, or both."""
    part = content.get("flight") or content.get("ground") or {}
    return day(dt.date.fromisoformat(part["date"])) if part else ""


@taught("POST")
def begin(request: HttpRequest, whose: Taught) -> HttpResponse:
    """Create a draft of the chosen lesson, with the planned items on its sheet."""
    sent = Begin.read(request)
    if "id" not in sent:
        raise Http404("no id of a draft")
    empty: dict[str, Any] | None = {"items": []} if sent.get("own") == "yes" else None
    try:
        made = lesson_records.create(
            whose.student, id=sent["id"], lesson=sent.get("lesson", "")[:200], content=empty, **whose.acting
        )
    except (Refused, LessonError) as problem:
        messages.error(request, " ".join(refusals.words(problem)))
        return redirect("teach", ref=whose.student.ref)
    return redirect("lesson-sheet", ref=whose.student.ref, entry=made.pk)


@taught("GET", "POST")
def lesson_sheet(request: HttpRequest, whose: Taught, entry: uuid.UUID) -> HttpResponse:
    """GET: the sheet of a draft. POST: save it."""
    record = whose.lesson(entry)
    if record.state == LessonRecord.State.SIGNED:
        return redirect("lesson-sealed", ref=whose.student.ref, entry=entry)
    if request.method != "POST":
        whose.log(access.READ, f"lesson-record {record.pk}")
        return _show(request, whose, record, None, {})
    given, added = as_typed(request), texts_of(request, "add")
    if given.get("propose"):
        given = sheet_check.filled_in(whose, record, given)
    found = sheet_check.look(whose, record, given, added)
    if found.errors:
        return _show(request, whose, record, found, given, status=422)
    try:
        changed = lesson_records.change(
            record,
            version=int(given["version"]) if given.get("version", "").isdecimal() else None,
            lesson=given.get("lesson", record.lesson),
            content=found.typed.content,
            **whose.acting,
        )
    except LessonError as wrong:
        sheet_check.place_errors(found, wrong.errors, given)
        return _show(request, whose, record, found, given, status=422)
    except Changed:
        found.errors["version"] = [
            _(
                "Not saved. This draft was changed elsewhere since you opened it. Your entries are "
                "below. Open the other version in a new tab; saving now replaces it."
            )
        ]
        given["version"] = str(record.version)
        return _show(request, whose, record, found, given, status=409)
    except AlreadySigned as problem:
        messages.error(request, str(problem))
        return redirect("lesson-sealed", ref=whose.student.ref, entry=entry)
    except NotAllowed as problem:
        raise Http404(str(problem)) from None
    if given.get("then") == "sign":
        return redirect("lesson-sign", ref=whose.student.ref, entry=entry)
    messages.success(request, _("Draft saved. It goes on the student's record once you sign it."))
    return redirect("lesson-sheet", ref=whose.student.ref, entry=changed.pk)


def _show(
    request: HttpRequest,
    whose: Taught,
    record: LessonRecord,
    found: Look | None,
    given: Mapping[str, str],
    status: int = 200,
) -> HttpResponse:
    outline = outlines.published(record.course_version) if record.course_version else None
    if found is None:
        given = sheet.values(record.content, whose.zone, outline)
        found = sheet_check.look(whose, record, given)
    shown = sheet_context(whose, record, outline, found, dict(given))
    shown |= {"written": sheet_rules.for_tablet()}
    return show(request, "training/instructor/sheet.html", shown, status=status)


def sheet_context(
    whose: Taught, record: LessonRecord, outline: Outline | None, found: Look | None, given: dict[str, str]
) -> dict[str, Any]:
    """The template context of a sheet; an unsaved record makes a blank sheet."""
    planned = _lesson_of(record, outline)
    required = {**(outline.highest if outline else {}), **(planned.items if planned else {})}
    defaults: dict[str, str] = {}
    if not given.get("date") and given.get("flown") == sheet.NO_FLIGHT and planned and planned.flight_time:
        solo = sheet.SOLO if planned.times.get("solo") else sheet.DUAL
        defaults = {"date": whose.today.isoformat(), **sheet.from_last_time(whose.last_flight)}
        given |= {"flown": solo, **defaults}
    given |= {
        "version": given.get("version") or str(record.version),
        "record": str(record.pk),
        "lesson": record.lesson,
    }
    last = lesson_plans.newest_grades(whose.student, record.corrects_id)
    form = SheetForm(given, found, outline, Known(required, last))
    on_sheet = {each.code.value() for each in form.items}
    prepares = given.get("preparation", "")
    return {
        "student": whose.student,
        "record": record,
        "saved": not record._state.adding,
        "planned": planned,
        "form": form,
        "more_items": [each for each in outline.items if each.code not in on_sheet] if outline else [],
        "fleet": whose.fleet,
        "groundings": whose.groundings,
        "found": found,
        "findings": found.findings if found else [],
        "prepares": bool(prepares),
        "preparation": prepares or sheet.preparation(progress.test_of(whose.student, whose.today)),
        "data": _data(whose, record, defaults),
    }


def _data(whose: Taught, record: LessonRecord, defaults: Mapping[str, str]) -> str:
    """The data that the tablet needs to compute the content and its hash offline."""
    course = lesson_content.course_of(record.course_version)
    return json.dumps(
        {
            "student": str(whose.student.ref),
            "name": whose.student.name,
            "record": str(record.pk),
            "version": None if record._state.adding else record.version,
            "zone": whose.student.school.time_zone,
            "course": course,
            "corrects": str(record.corrects_id) if record.corrects_id else None,
            "reason": record.reason,
            "content": record.content,
            "defaults": defaults,
            "fleet": list(whose.fleet.values()),
            "check": reverse("lesson-check", args=[whose.student.ref]),
            "airports": reverse("airports"),
        }
    )


@taught("POST")
def check(request: HttpRequest, whose: Taught) -> JsonResponse:
    """The checks of a sheet while it is filled in; saves nothing."""
    given = as_typed(request)
    record = None
    try:
        key = uuid.UUID(given.get("record", ""))
        record = lesson_records.visible(whose.student, whose.user, on=whose.at.date()).filter(pk=key).first()
    except ValueError:
        pass
    # The tablet leaves out the fields whose values it proposes.
    proposed = sheet_check.proposals(whose, record, given)
    found = sheet_check.look(whose, record, {**proposed, **given})
    return JsonResponse({**found.as_json(), "proposed": proposed})


@taught("GET", "POST")
def sign(request: HttpRequest, whose: Taught, entry: uuid.UUID) -> HttpResponse:
    """GET: what the signature covers, in plain words. POST: sign the lesson."""
    record = whose.lesson(entry)
    if record.state == LessonRecord.State.SIGNED:
        return redirect("lesson-sealed", ref=whose.student.ref, entry=entry)
    if request.method != "POST":
        whose.log(access.READ, f"lesson-record {record.pk} before the sign-off")
        return _before_signing(request, whose, record)
    digest, reason = text_of(request, "content_hash"), text_of(request, "findings_reason")
    accepted = Accepted(text_of(request, "findings_hash"), reason)
    try:
        by = signing.signer(request, whose.user, whose.at)
        signatures.sign_lesson(record, by, content_hash=digest, accepted=accepted)
        return redirect("lesson-sealed", ref=whose.student.ref, entry=entry)
    except OpenFindings as problem:
        errors = [problem.summary]
    except (Refused, LessonError) as problem:
        errors = refusals.words(problem, _sentence)
    record = whose.lesson(entry)
    if record.state == LessonRecord.State.SIGNED:
        return redirect("lesson-sealed", ref=whose.student.ref, entry=entry)
    return _before_signing(request, whose, record, errors, status=422, reason=reason)


def _sentence(error: Error) -> str:
    part = error.place.removeprefix("content").strip(".").replace(".", ", ") or _("This lesson")
    return f"{part[0].upper()}{part[1:]}: {error.message}"


@signing_authority.read_once()
def _before_signing(
    request: HttpRequest,
    whose: Taught,
    record: LessonRecord,
    errors: list[str] | None = None,
    status: int = 200,
    reason: str = "",
) -> HttpResponse:
    outline = outlines.published(record.course_version) if record.course_version else None
    content = lesson_content.read(record.content)
    days = {whose.today, content.day or whose.today, content.last_day or whose.today}
    refused = [
        f"{each.message} ({each.citation})"
        for each in signing_authority.refusals(whose.user, whose.student, *days, flight=content.flight)
    ]
    late = signing_authority.late(whose.student, content.last_day, whose.at)
    nothing = content.day is None
    act = signatures.act_of_lesson(signatures.SIGNED, record, record.content_hash)
    found = lesson_findings.of(record, content, whose.user, whose.at)
    shown = {
        "findings": found,
        "findings_hash": lesson_findings.hash_of(found),
        "findings_reason": reason,
        "serious": lesson_findings.serious(found),
        "student": whose.student,
        "record": record,
        "planned": _lesson_of(record, outline),
        "told": lesson_words.lesson(content.plain, whose.zone, outline),
        "proves": _proved(whose, record),
        "hints": lesson_records.hints(record),
        "warnings": [*lesson_records.warnings(record, content, whose.user), *late],
        "computed": lesson_records.computed(content.flight).as_json(),
        "errors": [*(errors or []), *refused],
        "nothing": nothing,
        "may_sign": not refused and not nothing,
        "statement": json.dumps(act.statement()),
        "passkeys": json.dumps(reauthentication.passkeys(whose.user)),
        "signs_with": whose.certificate,
        "title_of": outline.by_code if outline else {},
    }
    return show(request, "training/instructor/sign.html", shown, status=status)


def _proved(whose: Taught, record: LessonRecord) -> list[dict[str, str]]:
    """The requirements that the lesson helps to meet, in the rules' words."""
    names = rulebook.current().items
    return [
        {
            "item": names.get(each.item, each.item),
            "code": each.item,
            "grade": each.grade,
            "why": PAGE.words(proving.rests_on(each)),
        }
        for each in lesson_records.proves(record, record_of(whose.student))
    ]


def _lesson_of(record: LessonRecord, outline: Outline | None) -> Any:
    return next((each for each in outline.lessons if each.code == record.lesson), None) if outline else None


@taught("GET")
def sealed(request: HttpRequest, whose: Taught, entry: uuid.UUID) -> HttpResponse:
    """A signed lesson: its content, its ledger entry, and a form to correct it."""
    record = whose.lesson(entry)
    if record.state != LessonRecord.State.SIGNED:
        return redirect("lesson-sheet", ref=whose.student.ref, entry=entry)
    whose.log(access.READ, f"lesson-record {record.pk}")
    outline = outlines.published(record.course_version) if record.course_version else None
    signed = record.sign_off
    shown = {
        "student": whose.student,
        "record": record,
        "planned": _lesson_of(record, outline),
        "told": lesson_words.lesson(record.content, whose.zone, outline),
        "signed": signed,
        "signed_at": instant(signed.at, whose.zone),
        "performed_at": instant(signed.performed_at, whose.zone),
        "apart": abs((signed.at - signed.performed_at).total_seconds()) >= 60,
        "acknowledged": getattr(signed, "acknowledgement", None),
        "proves": _proved(whose, record),
        "hints": signed.hints,
        "warnings": signed.warnings,
        "findings": signed.findings,
        "findings_reason": signed.findings_reason,
        "successor": Correction.objects.filter(lesson=record).first(),
        "new": uuid.uuid4(),
    }
    return show(request, "training/instructor/sealed.html", shown)


@taught("POST")
def correct(request: HttpRequest, whose: Taught, entry: uuid.UUID) -> HttpResponse:
    """Create the draft of a correction, which refers to the signed lesson and gives the reason."""
    record = whose.lesson(entry)
    sent = Correct.read(request)
    if "id" not in sent:
        raise Http404("no id of a draft")
    reason = sent.get("reason", "")[:2000]
    if not reason:
        messages.error(request, _("Enter a reason for the correction."))
        return redirect("lesson-sealed", ref=whose.student.ref, entry=entry)
    try:
        made = sign_offs.correct(record, id=sent["id"], reason=reason, content=record.content, **whose.acting)
    except (Refused, LessonError) as problem:
        messages.error(request, " ".join(refusals.words(problem, _sentence)))
        return redirect("lesson-sealed", ref=whose.student.ref, entry=entry)
    return redirect("lesson-sheet", ref=whose.student.ref, entry=made.pk)
