"""The views of solo releases: check, ask, list, decide, end."""

import uuid
from typing import Any

from api.v1.base.description import Answer, Created, describe
from api.v1.base.throttles import ConfirmThrottle
from api.v1.student.endorsements.views import SigningView
from api.v1.student.solo_releases.serializers import (
    FlightToCheckSerializer,
    ReleaseCheckSerializer,
    ReleaseToAskForSerializer,
    ReleaseToDecideSerializer,
    ReleaseToEndSerializer,
    SoloReleaseListSerializer,
    SoloReleaseSerializer,
)
from api.v1.student.students import StudentView
from syllabus.engine.rules.report import CAUTION
from training.models import SoloRelease, Student
from training.services import access, signatures
from training.services.releases import releases


class _ReleaseView(StudentView):
    def student(self, ref: uuid.UUID) -> Student:
        """The student, for those who may ask for a release; the service logs the access."""
        found = access.student(self.user, ref, on=self.today)
        access.require(self.user, "ask for a release", found, on=self.today)
        return found

    def written(self, release: SoloRelease) -> dict[str, Any]:
        """A release as it is now."""
        return {
            "id": release.pk,
            "state": release.state(self.at),
            "flight": release.flight,
            "by": release.by,
            "at": release.at,
            "replaces": release.replaces_id,
            "decision": getattr(release, "decision", None),
            "end": getattr(release, "end", None),
            "caution": CAUTION,
        }


class SoloReleaseCheck(_ReleaseView):
    @describe(
        "checkSoloRelease",
        "Check a planned solo flight",
        Answer(ReleaseCheckSerializer, "Every line of the check"),
        body=FlightToCheckSerializer,
        refuses=(403,),
    )
    def post(self, ref: uuid.UUID) -> Any:
        """For the student and the student's instructors. Each line is met, not met or unknown, with its
        citation: the milestones for this flight, the endorsements and their limits, documents, the aircraft,
        the weather, and what the instructor confirms. Only the access is recorded. It decides nothing.
        """
        return releases.check(self.student(ref), self.sent()["flight"], **self.acting).as_json()


class SoloReleases(_ReleaseView):
    @describe("listSoloReleases", "List the solo releases", Answer(SoloReleaseListSerializer, "The releases"))
    def get(self, ref: uuid.UUID) -> Any:
        """Requests, decisions and ends, newest first. The reading is logged."""
        student = self.open(ref, "solo releases")
        return {"releases": [self.written(each) for each in releases.listed(student)], "caution": CAUTION}

    @describe(
        "askForSoloRelease",
        "Ask for a solo release",
        Answer(SoloReleaseSerializer, "Already on record"),
        Answer(SoloReleaseSerializer, "Requested", status=201),
        body=ReleaseToAskForSerializer,
        refuses=(403, 409),
    )
    def post(self, ref: uuid.UUID) -> Any:
        """For the student and the student's instructors. `id` is chosen by the caller: sending the same again
        returns the existing request (200); other content under it is a conflict (409). If the flight changes,
        ask again with `replaces`: the earlier request or release ends.
        """
        student, sent = self.student(ref), self.sent()
        asked = releases.ask(student, sent["id"], sent["flight"], replaces=sent["replaces"], **self.acting)
        made = self.written(releases.find(student, asked.release.pk))
        return Created(made) if asked.created else made


class SoloReleaseDetail(_ReleaseView):
    @describe("readSoloRelease", "Read a solo release", Answer(SoloReleaseSerializer, "The release"))
    def get(self, ref: uuid.UUID, entry: uuid.UUID) -> Any:
        """The flight, the decision with every line and its answer, and the end. The reading is logged."""
        return self.written(releases.find(self.open(ref, f"solo release {entry}"), entry))


class SoloReleaseDecision(SigningView, _ReleaseView):
    throttle_classes = [ConfirmThrottle]

    @describe(
        "decideSoloRelease",
        "Release a student for a solo flight, or decline",
        Answer(SoloReleaseSerializer, "Decided"),
        body=ReleaseToDecideSerializer,
        refuses=(403, 409, 429),
    )
    def post(self, ref: uuid.UUID, entry: uuid.UUID) -> Any:
        """Signed by the caller, an instructor with signing authority for the student, with password or
        passkey, which signs `checked`, `decision`, `lines_confirmed` (sorted) and `reason`. `checked` is that
        of the check that the caller read: if an answer changed meanwhile, nothing is signed (409) and `check`
        has the fresh one. To release although a line is not met or unknown needs a `reason`, is marked, and
        becomes a finding of the audit. Sending the same again returns the decision.
        """
        student = self.writable(ref, instructing=True)
        sent, release = self.sent(), releases.find(student, entry)
        signer = self.signer(sent.pop("confirmation"))
        signatures.decide_release(
            release, sent["decision"], sent["checked"], sent["lines_confirmed"], sent["reason"], signer
        )
        return self.written(releases.find(student, entry))


class SoloReleaseEnd(_ReleaseView):
    @describe(
        "endSoloRelease",
        "End a solo release, or withdraw a request",
        Answer(SoloReleaseSerializer, "Ended"),
        body=ReleaseToEndSerializer,
        refuses=(403, 409),
    )
    def post(self, ref: uuid.UUID, entry: uuid.UUID) -> Any:
        """For the student and the student's instructors, with a reason: flown, withdrawn, called back. It
        ends once: sending the same again returns it; another reason is a conflict (409).
        """
        student = self.student(ref)
        releases.end(releases.find(student, entry), self.sent()["reason"], **self.acting)
        return self.written(releases.find(student, entry))
