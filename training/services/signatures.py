"""One call for each signature, for page, API and tablet: re-authenticate, then act.

``Act`` names what is signed; a page gives the same to the passkey beforehand.
"""

import datetime as dt
import uuid
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet

from training import models
from training.services.audit import findings
from training.services.endorsements import endorsements
from training.services.endorsements.endorsements import EndorsementError
from training.services.lessons import sign_offs
from training.services.lessons.lesson_findings import NOTHING_ACCEPTED, Accepted
from training.services.releases import releases
from training.services.signing import reauthentication
from training.services.signing.reauthentication import Act, Confirmed, Given, Site, content_of

SIGNED, ACKNOWLEDGED = "lesson.signed", "lesson.acknowledged"
GIVEN, REVOKED = "endorsement.given", "endorsement.revoked"


@dataclass(frozen=True, slots=True)
class Signer:
    """Who signs, the password or passkey, the site, the time, and the channel."""

    user: models.User
    given: Given
    site: Site
    at: dt.datetime
    via: str

    def confirm(self, act: Act, before: QuerySet[Any, Any]) -> Confirmed:
        """``before``: rows that this same act made already. Raises: NotConfirmed."""
        settled = before.values_list("confirmed", flat=True)
        return reauthentication.confirm(self.user, self.given, act, site=self.site, settled=settled)

    def signs(self, act: Act, before: QuerySet[Any, Any]) -> dict[str, Any]:
        """The signer, time, channel and re-authentication, for a service. Raises: NotConfirmed."""
        return {"by": self.user, "at": self.at, "via": self.via, "confirmed": self.confirm(act, before)}


def act_of_lesson(kind: str, lesson: models.LessonRecord, content_hash: str) -> Act:
    """Signing a lesson record with that content, or acknowledging it."""
    return Act(kind, str(lesson.student.ref), str(lesson.pk), content_hash)


def sign_lesson(
    lesson: models.LessonRecord,
    signer: Signer,
    *,
    content_hash: str,
    performed_at: dt.datetime | None = None,
    accepted: Accepted = NOTHING_ACCEPTED,
) -> models.SignOff:
    """Sign a lesson record as it was read. Raises: NotConfirmed; as ``sign_offs.sign_off``."""
    act = act_of_lesson(SIGNED, lesson, content_hash)
    signs = signer.signs(act, models.SignOff.objects.filter(lesson=lesson))
    return sign_offs.sign_off(
        lesson.pk, content_hash=content_hash, performed_at=performed_at, accepted=accepted, **signs
    )


def acknowledge_lesson(lesson: models.LessonRecord, signer: Signer) -> models.Acknowledgement:
    """The student's signature under a signed lesson. Raises: NotConfirmed; as ``sign_offs.acknowledge``."""
    act = act_of_lesson(ACKNOWLEDGED, lesson, lesson.content_hash)
    signs = signer.signs(act, models.Acknowledgement.objects.filter(sign_off__lesson=lesson))
    return sign_offs.acknowledge(lesson.pk, **signs)


def act_of_endorsement(
    kind: str, student: models.Student, entry: uuid.UUID, said: Mapping[str, Any], *, by_passkey: bool
) -> Act:
    """Giving an endorsement, or revoking it. Raises: EndorsementError for values that JSON cannot hold."""
    if not by_passkey:
        return Act(kind, str(student.ref), str(entry), "")
    try:
        text, digest = content_of(said)
    except ValueError as wrong:
        raise EndorsementError.at("", f"cannot be signed: {wrong}") from None
    return Act(kind, str(student.ref), str(entry), digest, text if kind == GIVEN else None)


def give_endorsement(
    student: models.Student,
    entry: uuid.UUID,
    kind: str,
    said: Mapping[str, Any],
    judgement: str,
    signer: Signer,
    checked_hash: str = "",
) -> endorsements.Given:
    """Give an endorsement under the caller's id. Raises: NotConfirmed; as ``endorsements.give``."""
    whole = {"kind": kind, "endorsement": said, "judgement": judgement}
    act = act_of_endorsement(GIVEN, student, entry, whole, by_passkey=signer.given.passkey is not None)
    before = models.EndorsementSeal.objects.filter(student=student, endorsement__entry_id=str(entry))
    signs = signer.signs(act, before)
    return endorsements.give(
        student, entry, kind, said, judgement=judgement, checked_hash=checked_hash, **signs
    )


def revoke_endorsement(found: models.Endorsement, reason: str, signer: Signer) -> models.Revocation:
    """Revoke an endorsement that was given here. Raises: NotConfirmed; as ``endorsements.revoke``."""
    by_passkey, entry = signer.given.passkey is not None, uuid.UUID(found.entry_id)
    act = act_of_endorsement(REVOKED, found.student, entry, {"reason": reason}, by_passkey=by_passkey)
    signs = signer.signs(act, models.Revocation.objects.filter(endorsement=found))
    return endorsements.revoke(found, reason=reason, **signs)


def decide_release(
    release: models.SoloRelease,
    decision: str,
    checked: str,
    lines: Collection[str],
    reason: str,
    signer: Signer,
) -> models.ReleaseDecision:
    """Release a student for a solo flight, or decline. Raises: NotConfirmed; as ``releases.decide``."""
    said = {
        "checked": checked,
        "decision": decision,
        "lines_confirmed": sorted(set(lines)),
        "reason": reason.strip(),
    }
    act = Act(releases.DECIDED, str(release.student.ref), str(release.pk), content_of(said)[1])
    signs = signer.signs(act, models.ReleaseDecision.objects.filter(release=release))
    return releases.decide(
        release, decision, checked_as=checked, lines_confirmed=lines, reason=reason, **signs
    )


def resolve_finding(found: models.Finding, how: str, note: str, signer: Signer) -> models.Resolution:
    """Resolve a finding. Raises: NotConfirmed; as ``findings.resolve``."""
    by_passkey = signer.given.passkey is not None
    digest = content_of(findings.said(found, how, note))[1] if by_passkey else ""
    act = Act(findings.SEALED_AS, findings.subject_of(found), str(found.ref), digest)
    return findings.resolve(found, how=how, note=note, **signer.signs(act, found.resolutions.all()))
