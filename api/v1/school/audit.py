"""The findings of a school's audit, and how they were resolved."""

import datetime as dt
import uuid
from typing import Any

from api.v1.base import reauthentication
from api.v1.base.description import CURSOR, SCHOOL, Answer, Parameter, describe
from api.v1.base.field_types import DAY, FLAG, STRING, UTC, UUID, VERIFIED, WHOLE, list_of, word
from api.v1.base.pages import Pages, PageSerializer
from api.v1.base.reauthentication import ConfirmedSerializer
from api.v1.base.reports import ON, PROVENANCE
from api.v1.base.serializers import Field, RequestSerializer, ResponseSerializer
from api.v1.base.throttles import ConfirmThrottle, Throttle
from api.v1.base.views import View
from syllabus.engine.audit.audit import MENDS, SEVERITIES
from syllabus.engine.errors import QuestionError
from syllabus.engine.record import reading
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.shapes import Type
from syllabus.engine.rules.report import CAUTION
from training.models import School
from training.reports.audit_kinds import KINDS
from training.services import signatures
from training.services.audit import finding_json, findings
from training.services.audit.findings import MOST_NOTE, STATES, ResolutionError


def _note(errors: Errors, value: Any, place: str) -> str | None:
    found = reading.text(errors, value, place)
    if found is not None and not found.strip():
        errors.add(place, "is blank; write what was done, or why nothing was done")
        return None
    if found is not None and len(found) > MOST_NOTE:
        errors.add(place, f"has {len(found)} characters, at most {MOST_NOTE} fit")
        return None
    return found


KIND = word(KINDS, "kind of finding", "The kind of finding.")
SEVERITY = word(
    SEVERITIES,
    "severity",
    "serious: a rule was not met; incomplete: the record cannot show that it was; note: worth a look.",
)
STATE = word(
    STATES,
    "state of a finding",
    "open; resolved; or gone: the latest audit no longer finds it.",
)
HOW = word(
    MENDS,
    "remedy",
    "What was done: an entry corrected, a note made, or nothing.",
)
NOTE = Type(_note, {"type": "string", "minLength": 1, "maxLength": MOST_NOTE, "pattern": r"\S"})
KNOWN = "Whether the requirement was met on the day; null if unknown."


class EntryFoundSerializer(ResponseSerializer):
    student = Field(UUID, allow_null=True)
    id = Field(STRING)
    provenance = Field(PROVENANCE, allow_null=True)


class UnmetSerializer(ResponseSerializer):
    """A requirement that was checked."""

    requirement = Field(STRING)
    says = Field(STRING)
    citation = Field(STRING)
    verified = Field(VERIFIED)
    met_now = Field(FLAG, KNOWN, allow_null=True)
    met_then = Field(FLAG, KNOWN, allow_null=True)


class KnownSerializer(ResponseSerializer):
    now = Field(FLAG, KNOWN, allow_null=True)
    then = Field(FLAG, KNOWN, allow_null=True)


class FindingResolutionSerializer(ResponseSerializer):
    by = Field(STRING)
    at = Field(UTC)
    how = Field(HOW)
    note = Field(STRING)
    stands = Field(FLAG, "Whether it applies to the finding as it is now.")
    ledger_index = Field(WHOLE)


class AuditFindingSerializer(ResponseSerializer):
    """An entry that does not meet the rules in force on its day."""

    id = Field(UUID)
    kind = Field(KIND)
    severity = Field(SEVERITY)
    state = Field(STATE)
    digest = Field(STRING, "A hash of the finding as it is now; a passkey signs it.")
    student = Field(UUID, allow_null=True)
    instructor = Field(STRING, allow_null=True)
    day = Field(ON, "The day that it is about.")
    entries = EntryFoundSerializer(many=True)
    says = Field(STRING)
    citations = Field(list_of(STRING))
    verified = Field(VERIFIED, "How the rule's text was checked.")
    mend = Field(word(MENDS), "The remedy.")
    way = Field(STRING, "The remedy, in words.")
    unmet = UnmetSerializer(many=True)
    known = KnownSerializer(allow_null=True, help_text="By what is known now, and by what was known then.")
    first_seen = Field(UTC)
    last_seen = Field(UTC)
    changed_at = Field(UTC, allow_null=True)
    gone_at = Field(UTC, allow_null=True)
    returned_at = Field(UTC, allow_null=True)
    resolutions = FindingResolutionSerializer(many=True)
    signed_reason = Field(STRING, "Who signed the lesson all the same, and why.", allow_null=True)


class AuditRunSerializer(ResponseSerializer):
    at = Field(UTC)
    on = Field(ON)
    students = Field(WHOLE)
    found = Field(WHOLE)
    rulebook = Field(STRING)


class AuditFindingPageSerializer(PageSerializer):
    stored = ("findings",)

    school = Field(STRING)
    last_audit = AuditRunSerializer(allow_null=True)
    findings = AuditFindingSerializer(many=True)
    caution = Field(STRING)


class AuditToRunSerializer(RequestSerializer):
    school = Field(STRING, required=False)
    on = Field(DAY, required=False)


class AuditDoneSerializer(ResponseSerializer):
    school = Field(STRING)
    audit = AuditRunSerializer()
    kept = Field(FLAG, "False if an audit of a later day is on file.")
    new = Field(WHOLE)
    returned = Field(WHOLE)
    gone = Field(WHOLE)
    caution = Field(STRING)


class FindingToResolveSerializer(ConfirmedSerializer):
    error = ResolutionError

    how = Field(HOW)
    note = Field(NOTE)


class FindingPages(Pages):
    """Fifty findings a page, the newest day first."""

    ordering = ("-day", "-id")

    def position(self, text: str) -> dt.date:
        return dt.date.fromisoformat(text)


class AuditThrottle(Throttle):
    """Limits audits, which read every record of a school."""

    scope = "audit"
    most = 6


class OfSchool(View):
    """For the administrators of a school."""

    def school(self, slug: str | None) -> School:
        """The requested school. Raises: Problem (403)."""
        return findings.school_for(self.user, slug)


class Findings(OfSchool):
    query = (
        SCHOOL,
        Parameter.asked("state", "Only findings with this status.", STATE),
        Parameter.asked("kind", "Only findings of this kind.", KIND),
        Parameter.asked("severity", "Only findings of this severity.", SEVERITY),
        Parameter.asked("student", "Only findings about this student.", UUID),
        CURSOR,
    )

    @describe(
        "listFindings",
        "List the findings of the audit",
        Answer(AuditFindingPageSerializer, "A page"),
        words={"page_size": FindingPages.page_size},
        refuses=(403, 404),
    )
    def get(self) -> Any:
        """For the administrators of the school. Every finding of any audit, with the rule, the entries, the
        remedy and who resolved it; the newest day first, in pages of %(page_size)s; follow `next`. A finding
        that no longer applies is `gone` and stays listed. The reading is logged for each student concerned.
        """
        school = self.school(self.asked["school"])
        wanted = {key: self.asked[key] for key in ("state", "kind", "severity", "student")}
        page = FindingPages(findings.listed(school, **wanted), self.request)
        findings.note_read(page.rows, self.user, via="api", at=self.at)
        return {
            **page.links,
            "school": school.slug,
            "last_audit": findings.last_run(school),
            "findings": finding_json.listed(page.rows),
            "caution": CAUTION,
        }


class Audit(OfSchool):
    throttle_classes = [AuditThrottle]

    @describe(
        "runAudit",
        "Audit a school",
        Answer(AuditDoneSerializer, "New findings, and those no longer found"),
        body=AuditToRunSerializer,
        refuses=(403, 404),
    )
    def post(self) -> Any:
        """For administrators of the school. Every record is read, which takes some seconds for hundreds of
        students; for a large school, use the command. `on`: as of this day (default: today at the school). If
        an audit of a later day is on file, this one counts its findings and saves nothing.
        """
        sent = self.sent()
        school, on = self.school(sent["school"]), sent["on"]
        today = school.day(self.at)
        if on is not None and on > today:
            raise QuestionError.at("on", f"{on} is in the future; today at the school is {today}")
        done = findings.recompute(school, on or today, **self.acting)
        answer = {key: getattr(done, key) for key in ("kept", "new", "returned", "gone")}
        answer |= {"school": school.slug, "audit": done.run, "caution": CAUTION}
        return answer


class FindingResolve(View):
    throttle_classes = [ConfirmThrottle]

    @describe(
        "resolveFinding",
        "Resolve a finding",
        Answer(FindingResolutionSerializer, "Resolved"),
        body=FindingToResolveSerializer,
        refuses=(403, 409),
    )
    def post(self, finding: uuid.UUID) -> Any:
        """For administrators of the school, with password or passkey, which signs `digest` (of the finding as
        it is now), `how` and `note`; signed into the school's ledger. Sending the same again returns the
        existing answer; other content is a conflict (409). A finding that returns, or changes, is open again.
        """
        found = findings.find(self.user, finding)
        sent = self.sent()
        given, how, note = sent["confirmation"], sent["how"], sent["note"]
        by = reauthentication.signer(self.request, self.user, given, self.at)
        made = signatures.resolve_finding(found, how, note, by)
        return finding_json.resolution(made)
