"""A student's whole record in one file, taken over from another school, kept, held and erased."""

from __future__ import annotations

import base64
import binascii
import uuid
from http import HTTPStatus
from typing import Any

from django.db.models import Count
from rest_framework.request import Request
from rest_framework.response import Response

from api.v1 import confirming
from api.v1.description import Answer, Parameter, describe
from api.v1.endorsements import ConfirmThrottle
from api.v1.errors import Problem, not_found
from api.v1.students import StudentView
from api.v1.views import View
from syllabus.engine import reading
from syllabus.engine.reading import Faults, Object
from training.models import HandOver, RecordChange, RetentionHold, Student
from training.services import access, erasure, handover
from training.services.confirming import Act, Confirmed

MOST_KEYS = 20
WRITES = (400, 401, 403, 404, 406, 411, 413, 415, 422)


def _file(faults: Faults, value: Any, place: str) -> bytes | None:
    if isinstance(value, str):
        try:
            return base64.b64decode(value, validate=True)
        except (binascii.Error, ValueError):
            pass
    faults.add(place, "is not the file in base64")
    return None


def _keys(faults: Faults, value: Any, place: str) -> list[str] | None:
    if isinstance(value, list) and len(value) <= MOST_KEYS and all(isinstance(one, str) for one in value):
        return value
    faults.add(place, f"is not a list of at most {MOST_KEYS} ids of keys")
    return None


def _flag(faults: Faults, value: Any, place: str) -> bool | None:
    if isinstance(value, bool):
        return value
    faults.expected("true or false", value, place)
    return None


class StudentHandOver(StudentView):
    """POST: the whole record in one file."""

    @describe(
        name="handOverRecord",
        summary="Hand over a record",
        description=(
            "Makes one file (a ZIP, in base64 under `file`) of the record document, its pages as PDF, every"
            " sealed entry about the student with its proof, the signed checkpoint, the public keys, the"
            " rulebook's hash and the courses: for the student who asks for their data, or another school."
            " `python -m training.ledger.verify FILE --key ID` checks it without this server. For whoever may"
            " read the record; that it was handed over is logged, and sealed."
        ),
        parameters=[Parameter.student()],
        answers={200: Answer("HandOver", "The file")},
        refuses=(401, 404, 406, 422, 503),
    )
    def post(self, request: Request, ref: uuid.UUID) -> Response:
        student = access.student(self.user, ref, on=self.today)
        raw = handover.make(student, by=self.user, at=self.at, via="api")
        return Response(
            {
                "name": f"training-record-{student.school.day(self.at)}.zip",
                "bytes": len(raw),
                "file": base64.b64encode(raw).decode(),
            }
        )


class TakeOver(View):
    """POST: a record that another school handed over."""

    @describe(
        name="takeOverRecord",
        summary="Import a record from another school",
        description=(
            "By an administrator of the school: the file that another school handed over becomes a new"
            " student's record here, or brings one that was taken over before up to date; what was recorded"
            " here since stays. The other school's sealed entries are kept with their origin. `trust` has the"
            " ids of keys that you compared with what that school publishes. A file that was damaged, cut,"
            " re-ordered or signed with a key that nobody trusts is refused with the place (422), and nothing"
            " is written. It says why (`reason`), and is confirmed with the password or a passkey, which"
            " signs `reason`, `sent`, the hash of the file's bytes (`sha256:…`), and, where keys are"
            " trusted, `trust`, their ids in order; the kind it names is `record.taken-over`, the student"
            " the one here, or that of the file where the student is new here. It is sealed, and what"
            " changes a record here is told to the student. Files larger than a body may be are taken over"
            " by the server's command line."
        ),
        body="HandOverToTake",
        answers={
            200: Answer("TakenOver", "Brought up to date, or the same as before"),
            201: Answer("TakenOver", "A new student"),
        },
        refuses=(400, 401, 403, 406, 409, 411, 413, 415, 422, 429),
    )
    def post(self, request: Request) -> Response:
        faults = Faults()
        fields = Object(faults, request.data, "")
        slug = fields.take("school", reading.name, required=True)
        raw = fields.take("file", _file, required=True)
        trust = fields.take("trust", _keys, [])
        reason = fields.take("reason", reading.text, required=True)
        confirmation = confirming.take(fields)
        fields.done()
        faults.stop(handover.HandOverError)
        school = access.schools(self.user).filter(slug=slug).first()
        if school is None or raw is None:
            raise Problem(HTTPStatus.FORBIDDEN, f"You do not administer a school that is called {slug}.")

        def confirm(act: Act) -> Confirmed:
            before = RecordChange.objects.filter(student__ref=act.subject)
            return confirming.signer(request, self.user, confirmation, self.at).confirm(act, before)

        done = handover.take(
            raw,
            school=school,
            trust=trust or [],
            by=self.user,
            at=self.at,
            via="api",
            reason=reason or "",
            confirm=confirm,
        )
        made = done.hand_over
        return Response(
            {
                "student": str(done.student.ref),
                "created": done.created,
                "changed": done.change is not None,
                "entries": done.change.counts if done.change else {},
                "origin": made
                and _origin(HandOver.objects.annotate(sealed=Count("entries")).get(pk=made.pk)),
            },
            status=HTTPStatus.CREATED if done.created else HTTPStatus.OK,
        )

    def get_throttles(self) -> list[Any]:
        return [*super().get_throttles(), ConfirmThrottle()]


class StudentOrigins(StudentView):
    """GET: what came from other schools."""

    @describe(
        name="originsOfStudent",
        summary="List the entries signed at other schools",
        description=(
            "Every hand-over that this record was taken over from, and each entry that the other school had"
            " sealed: in which ledger, at which index, signed with which key. `verified` says that its proof"
            " and its body fitted a checkpoint signed with a trusted key; it is false where the body had been"
            " erased there, so that only the proof could be checked. The reading is logged."
        ),
        parameters=[Parameter.student()],
        answers={200: Answer("Origins", "What came from elsewhere")},
        refuses=(401, 404, 406, 422),
    )
    def get(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.open(ref, "origins")
        return Response(
            {
                "hand_overs": [
                    {**_origin(each), "taken_over_at": each.at.isoformat()}
                    for each in student.hand_overs.annotate(sealed=Count("entries"))
                ],
                "entries": [
                    {
                        "ledger": each.tree,
                        "index": each.index,
                        "kind": each.kind,
                        "student": each.subject,
                        "sealed_at": each.sealed_at,
                        "key": each.kid,
                        "verified": each.verified,
                        "body": each.body,
                    }
                    for each in student.foreign_entries.all()
                ],
            }
        )


def _origin(made: HandOver) -> dict[str, Any]:
    """A hand-over, counted with its entries (``sealed``)."""
    return {
        "school": made.origin,
        "ledger": made.origin_tree,
        "student": made.origin_subject,
        "key": made.kid,
        "signed_at": made.made_at.isoformat(),
        "rulebook": made.rulebook,
        "sealed_entries": made.sealed,  # type: ignore[attr-defined]
    }


class _Administered(StudentView):
    """About a student of a school that the caller administers."""

    def administered(self, ref: uuid.UUID, what: str) -> Student:
        """The student, with the access noted. Raises: Problem (403, 404)."""
        student = self.open(ref, what)
        if not access.schools(self.user).filter(pk=student.school_id).exists():
            raise Problem(HTTPStatus.FORBIDDEN, "Only the school's administrators see and decide this.")
        return student


class StudentRetention(_Administered):
    """GET: what may be erased when."""

    @describe(
        name="readRetention",
        summary="Show what may be erased, and when",
        description=(
            "What the law asks to keep of this record until which day, with citations, the holds that stand,"
            " and what an erasure would take away. For the school's administrators."
        ),
        parameters=[Parameter.student()],
        answers={200: Answer("Retention", "What may be erased, and when")},
        refuses=(401, 403, 404, 406, 422),
    )
    def get(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.administered(ref, "retention")
        return Response(erasure.plan(student, student.school.day(self.at)).as_json())


class StudentHolds(_Administered):
    """POST: a hold."""

    @describe(
        name="holdRecord",
        summary="Place a hold on a record",
        description="Nothing of the record is erased while the hold stands. For the school's administrators.",
        parameters=[Parameter.student()],
        body="Reason",
        answers={201: Answer("Hold", "The hold")},
        refuses=WRITES,
    )
    def post(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.administered(ref, "holds")
        faults = Faults()
        fields = Object(faults, request.data, "")
        reason = fields.take("reason", reading.text, required=True)
        fields.done()
        faults.stop(erasure.ErasureError)
        made = erasure.hold(student, reason or "", by=self.user, at=self.at, via="api")
        return Response(erasure.hold_json(made), status=HTTPStatus.CREATED)


class StudentHoldRelease(_Administered):
    """POST: the end of a hold."""

    @describe(
        name="releaseHold",
        summary="Release a hold",
        description="The hold stays on file with both reasons. For the school's administrators.",
        parameters=[
            Parameter.student(),
            Parameter("hold", "path", "The hold's id.", {"type": "integer", "minimum": 0}, True),
        ],
        body="Reason",
        answers={200: Answer("Hold", "The hold, released")},
        refuses=WRITES,
    )
    def post(self, request: Request, ref: uuid.UUID, hold: int) -> Response:
        student = self.administered(ref, "holds")
        faults = Faults()
        fields = Object(faults, request.data, "")
        reason = fields.take("reason", reading.text, required=True)
        fields.done()
        faults.stop(erasure.ErasureError)
        found = RetentionHold.objects.filter(student=student, pk=min(hold, 2**63 - 1)).first()
        if found is None:
            raise not_found("hold of that id")
        made = erasure.release(found, reason or "", by=self.user, at=self.at, via="api")
        return Response(erasure.hold_json(made))


class StudentErasure(_Administered):
    """POST: the erasure, shown first."""

    @describe(
        name="eraseRecord",
        summary="Erase a record",
        description=(
            "Without `really` nothing is written, and the answer shows what would be. With it the record's"
            " rows and what its sealed entries say are erased; the proofs stay, and the reason is sealed (so"
            " it holds no names). Refused (409) while the law asks to keep the record, a hold stands or the"
            " student is enrolled. For the school's administrators."
        ),
        parameters=[Parameter.student()],
        body="ErasureToDo",
        answers={200: Answer("Retention", "What was, or would be, erased")},
        refuses=(*WRITES, 409),
    )
    def post(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.administered(ref, "erasure")
        faults = Faults()
        fields = Object(faults, request.data, "")
        reason = fields.take("reason", reading.text, required=True)
        really = fields.take("really", _flag, False)
        fields.done()
        faults.stop(erasure.ErasureError)
        if not really:
            return Response(erasure.plan(student, student.school.day(self.at)).as_json())
        done = erasure.erase(student, reason or "", by=self.user, at=self.at, via="api")
        return Response({**done.as_json(), "erased_at": self.at.isoformat()})
