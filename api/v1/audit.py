"""What an audit of a school found, who dealt with it, and an instructor's own record."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.db.models import QuerySet
from rest_framework.pagination import CursorPagination
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.throttling import UserRateThrottle

from api.v1 import confirming
from api.v1.description import Answer, Parameter, describe
from api.v1.endorsements import ConfirmThrottle, own_id
from api.v1.schemas import DAY
from api.v1.schemas.audit import KIND, SEVERITY, STATE
from api.v1.views import View
from syllabus.engine import reading
from syllabus.engine.audit import MENDS, SEVERITIES
from syllabus.engine.errors import Fault, QuestionError
from syllabus.engine.reading import Faults, Object
from syllabus.engine.report import CAUTION
from training.models import AuditRun, Finding, School
from training.reports.audit_kinds import KINDS
from training.services import findings, instructors, signatures
from training.services.findings import MOST_NOTE, STATES, ResolutionError

PAGE_SIZE = 50
_SCHOOL = Parameter(
    "school",
    "query",
    "The school's short name; may be left out by who administers one school alone.",
    {"type": "string"},
)
_WRITES = (400, 401, 403, 404, 406, 411, 413, 415, 422)


class Pages(CursorPagination):
    """Fifty findings at a time, those of the newest day first."""

    page_size = PAGE_SIZE
    ordering = ("-day", "-id")

    def decode_cursor(self, request: Request) -> Any:
        cursor = super().decode_cursor(request)
        if cursor is not None and cursor.position is not None:
            try:
                dt.date.fromisoformat(str(cursor.position))
            except ValueError:
                raise QuestionError([Fault("cursor", "is not one that next or previous gave")]) from None
        return cursor


class AuditThrottle(UserRateThrottle):
    """An audit reads every record of a school."""

    scope = "audit"
    rate = "6/min"


class OfSchool(View):
    """For the administrators of a school."""

    def school(self, slug: str | None) -> School:
        """The school that is meant. Raises: Problem (403)."""
        return findings.school_for(self.user, slug)


class Findings(OfSchool):
    """GET: what the last audits of a school found, in pages."""

    query = {
        "school": reading.text,
        "state": reading.one_of(STATES, "state of a finding"),
        "kind": reading.one_of(KINDS, "kind of finding"),
        "severity": reading.one_of(SEVERITIES, "severity"),
        "student": own_id,
        "cursor": reading.text,
    }

    @describe(
        name="listFindings",
        summary="List what an audit found",
        description=(
            "For the administrators of the school. Every finding that an audit ever told, each with the rule,"
            " the entries, its remedy and who resolved it; the newest day first, in pages of"
            f" {PAGE_SIZE}; follow `next`. One that an audit does not find any more is gone, and stays"
            " listed. The reading is logged for each student whose record they are about."
        ),
        parameters=[
            _SCHOOL,
            Parameter("state", "query", "Only findings that stand so.", STATE),
            Parameter("kind", "query", "Only findings of this kind.", KIND),
            Parameter("severity", "query", "Only findings so grave.", SEVERITY),
            Parameter("student", "query", "Only of this student.", {"type": "string", "format": "uuid"}),
            Parameter("cursor", "query", "As `next` or `previous` of a page has it.", {"type": "string"}),
        ],
        answers={200: Answer("AuditFindingPage", "A page")},
        refuses=(401, 403, 404, 406, 422),
    )
    def get(self, request: Request) -> Response:
        school = self.school(self.asked["school"])
        wanted = {key: self.asked[key] for key in ("state", "kind", "severity", "student")}
        pages = Pages()
        listed: QuerySet[Finding] = findings.listed(school, **wanted)
        page: list[Finding] = pages.paginate_queryset(listed, request, view=self) or []
        findings.note_read(page, self.user, via="api", at=self.at)
        last = findings.last_run(school)
        return Response(
            {
                "school": school.slug,
                "last_audit": last and _run(last),
                "next": pages.get_next_link(),
                "previous": pages.get_previous_link(),
                "findings": findings.as_json(page),
                "caution": CAUTION,
            }
        )


class Audit(OfSchool):
    """POST: audit a school now."""

    throttle_classes = [AuditThrottle]

    @describe(
        name="runAudit",
        summary="Audit a school",
        description=(
            "For the administrators of the school: every record is read, which takes some seconds for"
            " hundreds of students; a large school is better audited by the command, which does the same."
            " `on`: as of this day, today at the school where it is not given; where an audit as of a later"
            " day was kept before, this one counts what it finds and changes nothing."
        ),
        body="AuditToRun",
        answers={200: Answer("AuditDone", "What is new, and what is no longer found")},
        refuses=(*_WRITES, 429),
    )
    def post(self, request: Request) -> Response:
        faults = Faults()
        fields = Object(faults, request.data, "")
        slug = fields.take("school", reading.text)
        on = fields.take("on", reading.day)
        fields.done()
        faults.stop(QuestionError)
        school = self.school(slug)
        today = school.day(self.at)
        if on is not None and on > today:
            raise QuestionError([Fault("on", f"{on} is still to come; today at the school is {today}")])
        done = findings.recompute(school, on or today, at=self.at, by=self.user, via="api")
        return Response(
            {
                "school": school.slug,
                "audit": _run(done.run),
                "kept": done.kept,
                "new": done.new,
                "returned": done.returned,
                "gone": done.gone,
                "caution": CAUTION,
            }
        )


class FindingResolve(View):
    """POST: somebody dealt with a finding."""

    throttle_classes = [ConfirmThrottle]

    @describe(
        name="resolveFinding",
        summary="Resolve a finding",
        description=(
            "By an administrator of the school, confirmed with the password or a passkey, which signs"
            " `digest` (of the finding as it stands), `how` and `note`; sealed in the school's ledger. The"
            " same sent again is answered with what stands; another is a conflict (409). A finding that comes"
            " back after it was gone, or is found otherwise, is open again."
        ),
        parameters=[
            Parameter("finding", "path", "The finding's id.", {"type": "string", "format": "uuid"}, True)
        ],
        body="FindingToResolve",
        answers={200: Answer("FindingResolution", "Resolved")},
        refuses=(*_WRITES, 409, 429),
    )
    def post(self, request: Request, finding: uuid.UUID) -> Response:
        found = findings.find(self.user, finding)
        faults = Faults()
        fields = Object(faults, request.data, "")
        how = fields.take("how", reading.one_of(MENDS, "way to mend a finding"), required=True)
        note = fields.take("note", _note, required=True)
        given = confirming.take(fields)
        fields.done()
        faults.stop(ResolutionError)
        by = confirming.signer(request, self.user, given, self.at)
        made = signatures.resolve_finding(found, how, note, by)
        return Response(findings.resolution_json(made))


def _note(faults: Faults, value: Any, place: str) -> str | None:
    found = reading.text(faults, value, place)
    if found is not None and not found.strip():
        faults.add(place, "is blank; write what was done, or why nothing was")
        return None
    if found is not None and len(found) > MOST_NOTE:
        faults.add(place, f"has {len(found)} characters, at most {MOST_NOTE} fit")
        return None
    return found


def _run(run: AuditRun) -> dict[str, Any]:
    return {
        "at": run.at.astimezone(dt.UTC).isoformat().replace("+00:00", "Z"),
        "on": run.on.isoformat(),
        "students": run.students,
        "found": run.found,
        "rulebook": run.rulebook,
    }


class Instructors(View):
    """GET: the instructors whose own record the caller may see."""

    @describe(
        name="listInstructorRecords",
        summary="List the instructors whose own record you may see",
        description=(
            "Every instructor of the schools that the caller administers, and the caller where they instruct."
        ),
        answers={200: Answer("InstructorList", "The instructors")},
        refuses=(401, 406, 422),
    )
    def get(self, request: Request) -> Response:
        listed = [instructors.as_json(role) for role in instructors.seen(self.user)]
        return Response({"instructors": listed, "caution": CAUTION})


class InstructorRecord(View):
    """GET: one instructor's own record."""

    query = {"on": reading.day}

    @describe(
        name="readInstructorRecord",
        summary="Read an instructor's own record",
        description=(
            "For the instructor, and for the administrators of the school: who was endorsed for what test or"
            " solo, when, with what result, until when each is kept, first-attempt figures,"
            " and the last day of recent experience. The reading is logged for each student in it."
        ),
        parameters=[
            Parameter("instructor", "path", "The instructor's id.", {"type": "integer", "minimum": 0}, True),
            Parameter("on", "query", "As of this day; today where it is not given.", DAY),
        ],
        answers={200: Answer("InstructorRecord", "The record")},
        refuses=(401, 404, 406, 422),
    )
    def get(self, request: Request, instructor: int) -> Response:
        kept = instructors.own_record(self.user, instructor, on=self.asked["on"], at=self.at, via="api")
        return Response({**kept.as_json(), "caution": CAUTION})
