"""What the audit finds of a lesson record before it is signed, and the reason to sign it all the same."""

import datetime as dt
import hashlib
from dataclasses import dataclass
from typing import Any

import rfc8785

from syllabus.engine.audit.audit import SERIOUS
from syllabus.engine.record import record as engine
from training.models import LessonRecord, User
from training.reports import audit_draft
from training.reports.audit_draft import Draft
from training.reports.audit_releases import UNRELEASED
from training.services import texts
from training.services.endorsements import signing_authority
from training.services.errors import Conflict
from training.services.lessons import lesson_content, lesson_plans
from training.services.lessons.lesson_content import Content, LessonError

_KEYS = ("day", "says", "citations", "verified", "mend", "way")
Findings = list[dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Accepted:
    """What a signer sends about the findings: the hash of those that were read, and the typed reason."""

    digest: str = ""
    reason: str = ""


NOTHING_ACCEPTED = Accepted()


class OpenFindings(Conflict):
    """There are findings that the signer did not read, or gave no reason for. ``facts`` has them all."""

    def __init__(self, message: str, found: Findings):
        self.found = found
        super().__init__(
            " ".join([message, *(each["says"] for each in found)]),
            summary=message,
            facts={"findings": found, "findings_hash": hash_of(found)},
        )


def of(lesson: LessonRecord, content: Content, by: User, at: dt.datetime) -> Findings:
    """The findings of a lesson as if ``by`` signed it now, the most serious first, in the audit's words."""
    student = lesson.student
    signer = signing_authority.signature(by, student) or engine.Instructor(str(by))
    draft = Draft(
        lesson.prefix,
        content.entries(lesson.prefix, signer),
        lesson_plans.outlines_of(lesson),
        f"{lesson.corrects_id}/" if lesson.corrects_id else None,
    )
    return [
        {
            "kind": each.found.kind,
            "severity": each.found.severity,
            "digest": each.digest,
            **{key: value for key, value in each.as_json().items() if key in _KEYS},
        }
        for each in audit_draft.findings(student, draft, signer, by, at)
    ]


def shown(lesson: LessonRecord, to: User, at: dt.datetime) -> Findings:
    """The findings to show: those of a draft as if ``to`` signed it now, and those signed with a lesson."""
    signed = getattr(lesson, "sign_off", None)
    if signed is not None:
        return signed.findings
    try:
        return of(lesson, lesson_content.read(lesson.content), to, at)
    except LessonError:
        return []  # nothing to sign: a newer table may no longer have an airport


def hash_of(found: Findings) -> str:
    """``sha256:…`` over the findings in their canonical form (RFC 8785); empty without any."""
    return "sha256:" + hashlib.sha256(rfc8785.dumps(found)).hexdigest() if found else ""


def serious(found: Findings) -> bool:
    """Whether a signature needs a reason: for what is serious, and for a solo flight without its release."""
    return any(each["severity"] == SERIOUS or each["kind"] == UNRELEASED for each in found)


def accepted(
    lesson: LessonRecord, content: Content, by: User, at: dt.datetime, said: Accepted
) -> dict[str, Any]:
    """The findings and the reason, as a sign-off has them; a reason that no serious one needs is left out.

    Raises: OpenFindings unless the signer read these findings, and says why to sign in spite of a serious
            one; LessonError for a reason that is too long.
    """
    found, reason = of(lesson, content, by, at), said.reason.strip()
    texts.short(LessonError, "findings_reason", reason)
    if said.digest and said.digest != hash_of(found):
        raise OpenFindings("The findings changed after you read them. Read them again, then sign.", found)
    if not serious(found):
        return {"findings": found, "findings_reason": ""}
    if not (said.digest and reason):
        raise OpenFindings(
            "This lesson has findings that need a reason. Read them, write why you sign it all the same,"
            " then sign.",
            found,
        )
    return {"findings": found, "findings_reason": reason}
