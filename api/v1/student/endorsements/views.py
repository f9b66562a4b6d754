"""The views of endorsements: list, check, give, revoke."""

import uuid
from http import HTTPStatus
from typing import Any

from api.v1.base import reauthentication
from api.v1.base.description import Answer, Created, describe
from api.v1.base.errors import Problem
from api.v1.base.reports import EndorsementCheckedSerializer
from api.v1.base.throttles import ConfirmThrottle
from api.v1.base.views import OpenView
from api.v1.student.endorsements.serializers import (
    EndorsementGivenSerializer,
    EndorsementKindListSerializer,
    EndorsementListSerializer,
    EndorsementRevokedSerializer,
    EndorsementToCheckSerializer,
    EndorsementToGiveSerializer,
    RevocationOfEndorsementSerializer,
    written,
)
from api.v1.student.students import StudentView
from syllabus.engine.errors import Error
from syllabus.engine.record import record as engine
from syllabus.engine.rules.report import CAUTION
from syllabus.law import endorsements as catalogue
from training import record
from training.models import Endorsement, EndorsementSeal, Revocation, Role, Student
from training.services import access, signatures
from training.services.endorsements import endorsement_check, endorsements
from training.services.endorsements.endorsements import EndorsementError
from training.services.signatures import Signer
from training.services.signing.reauthentication import Act, Given

_WHOLE = "endorsement"


class SigningView(StudentView):
    """One student, for those who may write the record; signatures need re-authentication."""

    def writable(self, ref: uuid.UUID, *, instructing: bool = False) -> Student:
        """The student. Raises: Problem (404, 403). The service logs the access."""
        student = access.student(self.user, ref, on=self.today)
        if not access.may(self.user, access.WRITE, student, on=self.today):
            raise Problem(
                HTTPStatus.FORBIDDEN,
                "You may read this record but not write it. The student's instructors and the "
                "school's administrators may.",
            )
        roles = Role.objects.filter(user=self.user, school=student.school, role=Role.Kind.INSTRUCTOR)
        if instructing and not roles.exists():
            raise Problem(HTTPStatus.FORBIDDEN, "Only an instructor of the student's school may sign this.")
        return student

    def confirm(self, password: str) -> None:
        """Re-authenticate the user. Raises: Problem (403)."""
        reauthentication.confirm(self.request, self.user, Given(password), Act("", "", "", ""), [])

    def signer(self, given: Given) -> Signer:
        """The caller as signer, for ``training.services.signatures``."""
        return reauthentication.signer(self.request, self.user, given, self.at)


def _placed(problem: EndorsementError) -> EndorsementError:
    """The same errors at their places in the request's body."""
    outside = ("kind", "judgement", "reason")
    return EndorsementError(
        Error(error.place if error.place in outside else f"{_WHOLE}.{error.place}".rstrip("."), error.message)
        for error in problem.errors
    )


class EndorsementKinds(OpenView):
    @describe(
        "listEndorsementKinds",
        "List the kinds of endorsement",
        Answer(EndorsementKindListSerializer, "The catalogue"),
    )
    def get(self) -> Any:
        """The wording and fields of each kind, the requirements that it meets and those that it relies on. A
        school may have its own wording; `check` shows the one that applies.
        """
        kinds = catalogue.current().kinds.values()
        return {"kinds": kinds, "caution": CAUTION}


class StudentEndorsements(SigningView):
    def get_throttles(self) -> list[Any]:
        return [ConfirmThrottle()] if self.request.method == "POST" else []

    @describe(
        "listEndorsements", "List the endorsements", Answer(EndorsementListSerializer, "The endorsements")
    )
    def get(self, ref: uuid.UUID) -> Any:
        """The endorsements on record, newest first, each with its last day, and with the signature if it was
        given here. A revoked one has when, by whom, why, and its original form. The reading is logged.
        """
        student = self.open(ref, "endorsements")
        known = record.of(student)
        by_id = {each.id: each for each in known.endorsements}
        listed = [
            _listed(student, known, by_id[row.entry_id], row, seal, revocation)
            for row, seal, revocation in endorsements.listed(student)
            if row.entry_id in by_id
        ]
        return {"endorsements": listed, "caution": CAUTION}

    @describe(
        "giveEndorsement",
        "Give an endorsement",
        Answer(EndorsementGivenSerializer, "Already on record"),
        Answer(EndorsementGivenSerializer, "Given", status=201),
        body=EndorsementToGiveSerializer,
        refuses=(403, 409, 429),
    )
    def post(self, ref: uuid.UUID) -> Any:
        """Signed by the caller, an instructor of the student's school, with password or passkey, which signs
        `kind`, `endorsement` and `judgement` as sent. `id` is chosen by the caller: sending the same again
        returns the existing endorsement (200); other content under it is a conflict (409). What the rule
        forbids is refused (422) with the report; other warnings are shown in the report and saved. With the
        `checked_hash` of a check, only what was checked is given: if the fields or the record changed since,
        it is refused (409) with the new report. The entry is signed into the school's ledger.
        """
        student = self.writable(ref, instructing=True)
        sent = self.sent()
        entry, kind, said = sent["id"], sent["kind"], sent[_WHOLE]
        judgement, confirmation = sent["judgement"], sent["confirmation"]
        by = self.signer(confirmation)
        try:
            done = signatures.give_endorsement(
                student, entry, kind, said, judgement, by, sent["checked_hash"]
            )
        except EndorsementError as problem:
            raise _placed(problem) from None
        return Created(done.seal) if done.created else done.seal


def _listed(
    student: Student,
    known: engine.Record,
    stands: engine.Endorsement,
    row: Endorsement,
    seal: EndorsementSeal | None,
    revocation: Revocation | None,
) -> dict[str, Any]:
    last = endorsement_check.last_day(student, known, stands)
    return {
        "id": row.entry_id,
        "kind": row.kind,
        "endorsement": written(stands),
        "last_day": last,
        "signature": seal,
        "revocation": revocation,
    }


class EndorsementCheck(SigningView):
    @describe(
        "checkEndorsement",
        "Check an endorsement before you give it",
        Answer(EndorsementCheckedSerializer, "What to check"),
        body=EndorsementToCheckSerializer,
        refuses=(403,),
    )
    def post(self, ref: uuid.UUID) -> Any:
        """The requirements that it relies on (met, not met or unknown), each with its citation and the
        entries counted; what the rule forbids; the wording filled in; the last day. Only the access is
        recorded.
        """
        student = self.writable(ref)
        sent = self.sent()
        try:
            found = endorsements.check(student, sent["kind"], sent[_WHOLE], **self.acting)
        except EndorsementError as problem:
            raise _placed(problem) from None
        return {**found.as_json(), "checked_hash": found.digest}


class EndorsementRevocation(SigningView):
    throttle_classes = [ConfirmThrottle]

    @describe(
        "revokeEndorsement",
        "Revoke an endorsement",
        Answer(EndorsementRevokedSerializer, "Revoked"),
        body=RevocationOfEndorsementSerializer,
        refuses=(403, 409),
    )
    def post(self, ref: uuid.UUID, entry: uuid.UUID) -> Any:
        """From today it no longer counts; its last day is yesterday. The original stays visible. For the
        student's instructors and the school's administrators, with a reason and the password or a passkey.
        Sending the same again returns the revocation; another reason is a conflict (409). Only an endorsement
        that was given here can be revoked; change an imported one in the record document.
        """
        student = self.writable(ref)
        sent = self.sent()
        reason, confirmation = sent["reason"], sent["confirmation"]
        endorsement = endorsements.find(student, entry)
        try:
            revoked = signatures.revoke_endorsement(endorsement, reason, self.signer(confirmation))
        except EndorsementError as problem:
            raise _placed(problem) from None
        return revoked
