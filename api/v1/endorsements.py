"""Endorsements: what one rests on, giving it, revoking it, and those on record."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.throttling import UserRateThrottle

from api.v1 import confirming
from api.v1.description import Answer, Parameter, describe
from api.v1.errors import Problem
from api.v1.students import StudentView
from api.v1.views import OpenView
from syllabus import catalogue
from syllabus.catalogue import Kind
from syllabus.engine import document as documents
from syllabus.engine import reading
from syllabus.engine import record as engine
from syllabus.engine.errors import Fault
from syllabus.engine.reading import Faults, Object
from syllabus.engine.report import CAUTION
from training import record
from training.models import Endorsement, EndorsementSeal, Revocation, Role, Student
from training.services import access, endorsement_check, endorsements, signatures
from training.services.confirming import Act, Given
from training.services.endorsements import EndorsementError
from training.services.signatures import Signer

_WHOLE = "endorsement"


def as_it_came(faults: Faults, value: Any, place: str) -> Any:
    """A value that somebody else reads."""
    return value


def own_id(faults: Faults, value: Any, place: str) -> uuid.UUID | None:
    """An id that the caller drew."""
    try:
        return uuid.UUID(value)
    except (ValueError, TypeError, AttributeError):
        faults.add(place, f"{reading.called(value)} is not a UUID, such as {uuid.UUID(int=1)}")
        return None


class ConfirmThrottle(UserRateThrottle):
    """Guessing at what confirms a signature takes long."""

    scope = "confirm"
    rate = "30/min"


class SigningView(StudentView):
    """About one student, by somebody who may write the record; a signature is confirmed once more."""

    def writable(self, ref: uuid.UUID, *, instructing: bool = False) -> Student:
        """The student. Raises: Problem (404, 403). What is done is logged by the service that does it."""
        student = access.student(self.user, ref, on=self.today)
        if not access.may(self.user, access.WRITE, student, on=self.today):
            raise Problem(
                HTTPStatus.FORBIDDEN,
                "You may read this record and not write it; the student's instructors and the school may.",
            )
        roles = Role.objects.filter(user=self.user, school=student.school, role=Role.Kind.INSTRUCTOR)
        if instructing and not roles.exists():
            raise Problem(HTTPStatus.FORBIDDEN, "Only an instructor of the student's school signs this.")
        return student

    def confirm(self, password: str) -> None:
        """Make sure that it is the user who does this, now. Raises: Problem (403)."""
        confirming.confirm(self.request, self.user, Given(password), Act("", "", "", ""), [])

    def signer(self, given: Given) -> Signer:
        """The caller, by password or passkey, for one of ``training.services.signatures``."""
        return confirming.signer(self.request, self.user, given, self.at)


def _placed(problem: EndorsementError) -> EndorsementError:
    """The same faults at their places in the request's body."""
    outside = ("kind", "judgement", "reason")
    return EndorsementError(
        Fault(fault.place if fault.place in outside else f"{_WHOLE}.{fault.place}".rstrip("."), fault.message)
        for fault in problem.faults
    )


class EndorsementKinds(OpenView):
    """GET: the catalogue."""

    @describe(
        name="listEndorsementKinds",
        summary="List the kinds of endorsement",
        description=(
            "What each kind says and names, the requirements it satisfies and those it rests on. A "
            "school may "
            "have its own wording; `check` fills in the one that applies."
        ),
        answers={200: Answer("EndorsementKindList", "The catalogue")},
        refuses=(401, 406, 422, 429),
    )
    def get(self, request: Request) -> Response:
        kinds = [_kind(each) for each in catalogue.current().kinds.values()]
        return Response({"kinds": kinds, "caution": CAUTION})


def _kind(kind: Kind) -> dict[str, Any]:
    return {
        "kind": kind.kind,
        "title": kind.title,
        "citation": kind.cite.section,
        "source": kind.cite.source,
        "read_on": kind.cite.read_on.isoformat(),
        "verified": kind.verified,
        "fields": {
            name: catalogue.REQUIRED if needed else catalogue.OPTIONAL for name, needed in kind.fields.items()
        },
        "tests": list(kind.tests),
        "given_by": [{"instructor": each, "tests": list(sorts)} for each, sorts in kind.given_by.items()],
        "proves": list(kind.proves),
        "rests_on": list(kind.rests_on),
        "given_by_who_trained": kind.trained,
        "life": kind.life,
        "wording": kind.wording,
    }


class StudentEndorsements(SigningView):
    """GET: the endorsements on record. POST: give one."""

    def get_throttles(self) -> list[Any]:
        return [ConfirmThrottle()] if self.request.method == "POST" else []

    @describe(
        name="listEndorsements",
        summary="List the endorsements",
        description=(
            "Those on record, newest first, each with its last day, and with the signature where it was "
            "given "
            "here. A revoked one says when, by whom and why, and what was given at first. The reading is "
            "logged."
        ),
        parameters=[Parameter.student()],
        answers={200: Answer("EndorsementList", "The endorsements")},
        refuses=(401, 404, 406, 422),
    )
    def get(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.open(ref, "endorsements")
        known = record.of(student)
        by_id = {each.id: each for each in known.endorsements}
        listed = [
            _listed(student, known, by_id[row.entry_id], row, seal, revocation)
            for row, seal, revocation in endorsements.listed(student)
            if row.entry_id in by_id
        ]
        return Response({"endorsements": listed, "caution": CAUTION})

    @describe(
        name="giveEndorsement",
        summary="Give an endorsement",
        description=(
            "Signed by the caller, who is an instructor of the student's school and confirms it with the "
            "password or a passkey, which signs `kind`, `endorsement` and `judgement` as they are sent. "
            "`id` is the caller's own: the same sent again is answered with what stands (200), something "
            "else under it is a conflict (409). What the rule itself forbids is refused (422) with the "
            "report; everything else that speaks against it is shown in the report, and kept. The entry is "
            "sealed in the school's ledger."
        ),
        parameters=[Parameter.student()],
        body="EndorsementToGive",
        answers={
            200: Answer("EndorsementGiven", "Already on record"),
            201: Answer("EndorsementGiven", "Given"),
        },
        refuses=(400, 401, 403, 404, 406, 409, 411, 413, 415, 422, 429),
    )
    def post(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.writable(ref, instructing=True)
        faults = Faults()
        fields = Object(faults, request.data, "")
        entry = fields.take("id", own_id, required=True)
        kind = fields.take("kind", reading.name, required=True)
        said = fields.take(_WHOLE, as_it_came, {})
        judgement = fields.take("judgement", reading.text, "")
        confirmation = confirming.take(fields)
        fields.done()
        faults.stop(EndorsementError)
        by = self.signer(confirmation)
        try:
            done = signatures.give_endorsement(student, entry, kind, said, judgement, by)
        except EndorsementError as problem:
            raise _placed(problem) from None
        return Response(
            _given(done.endorsement, done.seal), status=HTTPStatus.CREATED if done.created else HTTPStatus.OK
        )


def _given(row: Endorsement, seal: EndorsementSeal) -> dict[str, Any]:
    return {
        "id": row.entry_id,
        "kind": row.kind,
        "endorsement": _written(record.entry_of(row, "endorsements")),
        "signature": _signature(seal),
        "report": seal.shown,
    }


def _written(endorsement: engine.Endorsement) -> dict[str, Any]:
    """As a record document has it."""
    whole = documents.dump(engine.Record(endorsements=(endorsement,)), provenance=True)
    made: dict[str, Any] = whole["endorsements"][0]
    return made


def _signature(seal: EndorsementSeal) -> dict[str, Any]:
    return {
        "by": str(seal.by),
        "at": _instant(seal.at),
        "wording": seal.wording,
        "judgement": seal.judgement,
        "ledger_index": seal.ledger_index,
    }


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
        "endorsement": _written(stands),
        "last_day": last and last.isoformat(),
        "signature": seal and _signature(seal),
        "revocation": revocation and _revocation(revocation),
    }


def _revocation(revocation: Revocation) -> dict[str, Any]:
    return {
        "by": str(revocation.by),
        "at": _instant(revocation.at),
        "reason": revocation.reason,
        "ledger_index": revocation.ledger_index,
        "was": _written(record.entry_of(revocation.endorsement, "endorsements")),
    }


def _instant(at: dt.datetime) -> str:
    return at.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")


class EndorsementCheck(SigningView):
    """POST: what an endorsement would rest on, were it given now."""

    @describe(
        name="checkEndorsement",
        summary="Check an endorsement before you give it",
        description=(
            "What it rests on with met, not met or not known, each with its citation and the entries "
            "counted; "
            "what the rule forbids; the wording filled in; the last day it will hold. Nothing is written but "
            "the access."
        ),
        parameters=[Parameter.student()],
        body="EndorsementToCheck",
        answers={200: Answer("EndorsementReport", "What to check")},
        refuses=(400, 401, 403, 404, 406, 411, 413, 415, 422),
    )
    def post(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.writable(ref)
        faults = Faults()
        fields = Object(faults, request.data, "")
        kind = fields.take("kind", reading.name, required=True)
        said: Mapping[str, Any] = fields.take(_WHOLE, as_it_came, {})
        fields.done()
        faults.stop(EndorsementError)
        try:
            found = endorsements.check(student, kind, said, by=self.user, at=self.at, via="api")
        except EndorsementError as problem:
            raise _placed(problem) from None
        return Response(found.as_json())


class EndorsementRevocation(SigningView):
    """POST: end an endorsement that was given here."""

    throttle_classes = [ConfirmThrottle]

    @describe(
        name="revokeEndorsement",
        summary="Revoke an endorsement",
        description=(
            "From today on nothing rests on it; its last day becomes the day before. What was given stays "
            "visible. Any of the student's instructors and the school's administrators may, with the "
            "reason and their password or a passkey. The same sent again is answered with what stands; one "
            "for another reason is a conflict (409). Only an endorsement that was given here is revoked; "
            "one that came with an imported record is changed there."
        ),
        parameters=[
            Parameter.student(),
            Parameter("entry", "path", "The endorsement's id.", {"type": "string", "format": "uuid"}, True),
        ],
        body="RevocationOfEndorsement",
        answers={200: Answer("EndorsementRevoked", "Revoked")},
        refuses=(400, 401, 403, 404, 406, 409, 411, 413, 415, 422, 429),
    )
    def post(self, request: Request, ref: uuid.UUID, entry: uuid.UUID) -> Response:
        student = self.writable(ref)
        faults = Faults()
        fields = Object(faults, request.data, "")
        reason = fields.take("reason", reading.name, required=True)
        confirmation = confirming.take(fields)
        fields.done()
        faults.stop(EndorsementError)
        endorsement = endorsements.find(student, entry)
        try:
            revoked = signatures.revoke_endorsement(endorsement, reason, self.signer(confirmation))
        except EndorsementError as problem:
            raise _placed(problem) from None
        return Response({"id": endorsement.entry_id, "kind": endorsement.kind, **_revocation(revoked)})
