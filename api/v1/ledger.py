"""The ledger: its newest checkpoint, proofs of entries and of growth, and the public keys that signed."""

from __future__ import annotations

import re
from typing import Any

from rest_framework.request import Request
from rest_framework.response import Response

from api.v1.description import Answer, Parameter, describe
from api.v1.endorsements import own_id
from api.v1.views import OpenView, View
from syllabus.engine import reading
from syllabus.engine.errors import Fault, QuestionError
from syllabus.engine.reading import Faults
from training.services import proofs

_COUNT = re.compile(r"0|[1-9][0-9]{0,14}", re.ASCII)
_WHOLE: dict[str, Any] = {"type": "integer", "minimum": 0}
SCHOOL = Parameter(
    "school",
    "query",
    "The school's short name; needed only by somebody who belongs to several.",
    {"type": "string"},
)
_CHECKED = (
    " The answer is a file of the form `ledger-export/1`: save it, and `python -m training.ledger.verify FILE"
    " --key ID` checks it without this server; the key's id is what the school published."
)


def count(faults: Faults, value: Any, place: str) -> int | None:
    """A whole number of a query string."""
    if isinstance(value, str) and _COUNT.fullmatch(value):
        return int(value)
    faults.add(place, f"{reading.called(value)} is no whole number, 0 or more")
    return None


class LedgerKeys(OpenView):
    """GET: the public keys."""

    @describe(
        name="listLedgerKeys",
        summary="List the public keys of the ledger",
        description=(
            "The public part of every key that ever signed a checkpoint here, as a JWK set (RFC 7517, RFC"
            " 8037). `kid` is the key's thumbprint (RFC 7638). Compare it with what the school published"
            " elsewhere: a server that lies about its ledger lies about its keys."
        ),
        answers={200: Answer("LedgerKeys", "The keys")},
        refuses=(401, 406, 422, 429),
    )
    def get(self, request: Request) -> Response:
        return Response({"keys": proofs.public_keys()})


class LedgerCheckpoint(View):
    """GET: the newest checkpoint."""

    query = {"school": reading.name}

    @describe(
        name="readLedgerCheckpoint",
        summary="Read the newest checkpoint",
        description=(
            "The signed statement of how many entries the ledger of one's school has, and of its root:"
            " `checkpoint` is a compact JWS (RFC 7515, algorithm Ed25519) over the canonical JSON of"
            " `format`, `tree`, `size`, `root` and `at`. It says nothing of what was sealed. Keep it: it"
            " shows later that nothing before it was changed (`consistency`, or `--against` of the verifier)."
        ),
        parameters=[SCHOOL],
        answers={200: Answer("LedgerCheckpoint", "The newest checkpoint")},
        refuses=(401, 404, 406, 422, 503),
    )
    def get(self, request: Request) -> Response:
        school = proofs.school_of(self.user, self.asked["school"])
        found = proofs.checkpoint(school, at=self.at)
        return Response(
            {
                "school": school.slug,
                "tree": found.tree,
                "size": found.size,
                "root": found.root,
                "at": found.at,
                "kid": found.kid,
                "checkpoint": found.token,
            }
        )


class LedgerProof(View):
    """GET: entries with what proves them."""

    query = {"index": count, "lesson_record": own_id, "endorsement": own_id, "school": reading.name}

    @describe(
        name="readLedgerProof",
        summary="Prove an entry",
        description=(
            "An entry of the ledger with its inclusion proof (RFC 9162, 2.1.3) against a signed checkpoint:"
            " by its `index` in the ledger of one's school, or the entries of a `lesson_record` (its sign-off"
            " and acknowledgement) or an `endorsement` (given and revoked); exactly one of the three. For"
            " whoever may read the student's record, the student included; the reading is logged." + _CHECKED
        ),
        parameters=[
            Parameter("index", "query", "The entry's place in the ledger, counted from 0.", _WHOLE),
            Parameter(
                "lesson_record", "query", "A signed lesson record's id.", {"type": "string", "format": "uuid"}
            ),
            Parameter(
                "endorsement",
                "query",
                "The id of an endorsement that was given here.",
                {"type": "string", "format": "uuid"},
            ),
            SCHOOL,
        ],
        answers={200: Answer("LedgerExport", "The entries with their proofs")},
        refuses=(401, 404, 406, 422, 503),
    )
    def get(self, request: Request) -> Response:
        given = {key: self.asked[key] for key in ("index", "lesson_record", "endorsement")}
        named = [key for key, value in given.items() if value is not None]
        if len(named) != 1:
            say = "missing" if not named else f"stands together with {named[1]}"
            place = named[0] if named else "index"
            raise QuestionError([Fault(place, f"{say}; give one of {', '.join(given)}")])
        if self.asked["school"] is not None and given["index"] is None:
            raise QuestionError([Fault("school", "goes with index alone; leave it out")])
        how: dict[str, Any] = {"via": "api", "at": self.at}
        match named[0]:
            case "lesson_record":
                made = proofs.of_lesson(self.user, given["lesson_record"], **how)
            case "endorsement":
                made = proofs.of_endorsement(self.user, given["endorsement"], **how)
            case _:
                school = proofs.school_of(self.user, self.asked["school"])
                made = proofs.of_entry(self.user, school, given["index"], **how)
        return Response(made)


class LedgerConsistency(View):
    """GET: that the ledger only grew."""

    query = {"from": count, "to": count, "school": reading.name}

    @describe(
        name="readLedgerConsistency",
        summary="Prove that the ledger only grew",
        description=(
            "The consistency proof (RFC 9162, 2.1.4) between two signed checkpoints, named by their sizes:"
            " `from` is that of one you hold, `to` the newest where it is left out. `earlier` has the older"
            " one and the proof; no entry is shown. Give the verifier the checkpoint you hold with `--against"
            " FILE`." + _CHECKED
        ),
        parameters=[
            Parameter("from", "query", "How many entries the older checkpoint counts.", _WHOLE, True),
            Parameter("to", "query", "How many entries the newer one counts.", _WHOLE),
            SCHOOL,
        ],
        answers={200: Answer("LedgerExport", "Both checkpoints, and the proof between them")},
        refuses=(401, 404, 406, 422, 503),
    )
    def get(self, request: Request) -> Response:
        first, second = self.asked["from"], self.asked["to"]
        if first is None:
            raise QuestionError([Fault("from", "missing; say how many entries the checkpoint counts")])
        school = proofs.school_of(self.user, self.asked["school"])
        return Response(proofs.grown(school, first, second, at=self.at))
