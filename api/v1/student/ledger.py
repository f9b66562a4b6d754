"""The ledger: its newest checkpoint, inclusion and consistency proofs, and the public keys."""

from dataclasses import replace
from typing import Any

from api.v1.base.description import Answer, Parameter, describe
from api.v1.base.field_types import (
    SLUG,
    STRING,
    UUID,
    WHOLE,
    always,
    as_it_came,
    list_of,
    matching,
    pattern,
)
from api.v1.base.serializers import Field, ResponseSerializer
from api.v1.base.views import OpenView, View
from syllabus.engine.errors import QuestionError
from syllabus.engine.record.shapes import Type
from training.ledger.core import sealed, statements
from training.services.records import proofs

SCHOOL = Parameter.asked(
    "school", "The school's short name; required only for callers with several schools.", SLUG
)
_CHECKED = (
    " The answer is a file of the form `ledger-export/1`: save it, and `python -m training.ledger.verify FILE"
    " --key ID` checks it without this server; the key's id is what the school published."
)


_WHOLE = replace(WHOLE, read=matching("0|[1-9][0-9]{0,14}", "a whole number, 0 or more", int))
HASH = pattern(sealed.HEX)
AT = pattern(sealed.INSTANT)
PART = pattern(statements.PART)
JWS = Type(
    as_it_came,
    {
        "type": "string",
        "pattern": r"^[A-Za-z0-9_-]+\.[A-Za-z0-9_-]+\.[A-Za-z0-9_-]+$",
        "description": "A compact JWS, algorithm Ed25519.",
    },
)


class LedgerKeySerializer(ResponseSerializer):
    """A public key (RFC 8037); `kid` is its thumbprint (RFC 7638)."""

    kty = Field(always("OKP"))
    crv = Field(always("Ed25519"))
    x = Field(PART)
    kid = Field(PART)


class LedgerKeysSerializer(ResponseSerializer):
    keys = LedgerKeySerializer(many=True)


class LedgerCheckpointSerializer(ResponseSerializer):
    school = Field(STRING)
    tree = Field(STRING)
    size = Field(WHOLE)
    root_ = Field(HASH)
    at = Field(AT)
    kid = Field(PART)
    checkpoint = Field(JWS)


class LedgerEntrySerializer(ResponseSerializer):
    index = Field(WHOLE)
    kind = Field(STRING)
    subject = Field(STRING, "The student's reference.")
    at = Field(AT)
    commitment = Field(HASH, "SHA-256 over the salt's bytes and the body's.")
    body = Field(STRING, "Canonical JSON (RFC 8785); null when erased.", allow_null=True)
    salt = Field(HASH, allow_null=True)
    proof = Field(
        list_of(HASH),
        "From the leaf, SHA-256 over a zero byte and the canonical JSON of format"
        f" (`{sealed.ENTRY}`), tree, index, kind, subject, at and commitment.",
    )


class LedgerPlaceSerializer(ResponseSerializer):
    """The place of an entry in a ledger."""

    tree = Field(STRING, source="ledger_tree")
    index = Field(WHOLE, source="ledger_index")


class EarlierCheckpointSerializer(ResponseSerializer):
    checkpoint = Field(JWS)
    consistency = Field(list_of(HASH))


class LedgerExportSerializer(ResponseSerializer):
    """What `python -m training.ledger.verify` checks, without this server."""

    format = Field(always(sealed.EXPORT))
    tree = Field(STRING)
    keys = LedgerKeySerializer(many=True)
    checkpoint = Field(JWS)
    contents = Field(JWS, "The signed list of the file's entries.")
    entries = LedgerEntrySerializer(many=True)
    earlier = EarlierCheckpointSerializer(many=True)


class LedgerKeys(OpenView):
    @describe(
        "listLedgerKeys", "List the public keys of the ledger", Answer(LedgerKeysSerializer, "The keys")
    )
    def get(self) -> Any:
        """Every key that has signed a checkpoint here, as a JWK set (RFC 7517, RFC 8037). `kid` is the key's
        thumbprint (RFC 7638). Compare it with what the school published elsewhere: a server that lies about
        its ledger lies about its keys.
        """
        return {"keys": proofs.public_keys()}


class LedgerCheckpoint(View):
    query = (SCHOOL,)

    @describe(
        "readLedgerCheckpoint",
        "Read the newest checkpoint",
        Answer(LedgerCheckpointSerializer, "The newest checkpoint"),
        refuses=(404,),
    )
    def get(self) -> Any:
        """The signed statement of the size and root of the school's ledger: `checkpoint` is a compact JWS
        (RFC 7515, algorithm Ed25519) over the canonical JSON of `format`, `tree`, `size`, `root` and `at`. It
        contains nothing of the entries. Store it: it shows later whether any earlier entry was changed
        (`consistency`, or `--against` of the verifier).
        """
        school = proofs.school_of(self.user, self.asked["school"])
        found = proofs.checkpoint(school, at=self.at)
        answer = {"school": school.slug, "checkpoint": found.token}
        more = {key: getattr(found, key) for key in ("tree", "size", "root", "at", "kid")}
        return {**answer, **more}


class LedgerProof(View):
    query = (
        Parameter.asked("index", "The entry's index in the ledger, from 0.", _WHOLE),
        Parameter.asked("lesson_record", "A signed lesson record's id.", UUID),
        Parameter.asked("endorsement", "The id of an endorsement that was given here.", UUID),
        SCHOOL,
    )

    @describe(
        "readLedgerProof",
        "Prove an entry",
        Answer(LedgerExportSerializer, "The entries with their proofs"),
        words={"checked": _CHECKED},
        refuses=(404,),
    )
    def get(self) -> Any:
        """An entry of the ledger with its inclusion proof (RFC 9162, 2.1.3) against a signed checkpoint: by
        its `index` in the ledger of one's school, or the entries of a `lesson_record` (its sign-off and
        acknowledgement) or an `endorsement` (given and revoked); exactly one of the three. For whoever may
        read the student's record, the student included; the reading is logged.%(checked)s
        """
        given = {key: self.asked[key] for key in ("index", "lesson_record", "endorsement")}
        named = [key for key, value in given.items() if value is not None]
        if len(named) != 1:
            say = "missing" if not named else f"cannot be combined with {named[1]}"
            place = named[0] if named else "index"
            raise QuestionError.at(place, f"{say}; give one of {', '.join(given)}")
        if self.asked["school"] is not None and given["index"] is None:
            raise QuestionError.at("school", "works only with index; leave it out")
        how: dict[str, Any] = {"via": "api", "at": self.at}
        match named[0]:
            case "lesson_record":
                made = proofs.of_lesson(self.user, given["lesson_record"], **how)
            case "endorsement":
                made = proofs.of_endorsement(self.user, given["endorsement"], **how)
            case _:
                school = proofs.school_of(self.user, self.asked["school"])
                made = proofs.of_entry(self.user, school, given["index"], **how)
        return made


class LedgerConsistency(View):
    query = (
        Parameter.asked("from", "The size of the older checkpoint.", _WHOLE, required=True),
        Parameter.asked("to", "The size of the newer checkpoint.", _WHOLE),
        SCHOOL,
    )

    @describe(
        "readLedgerConsistency",
        "Prove that the ledger only grew",
        Answer(LedgerExportSerializer, "Both checkpoints, and the proof between them"),
        words={"checked": _CHECKED},
        refuses=(404,),
    )
    def get(self) -> Any:
        """The consistency proof (RFC 9162, 2.1.4) between two signed checkpoints, named by their sizes:
        `from` is that of one you hold, `to` the newest where it is left out. `earlier` has the older one and
        the proof; no entry is shown. Give the verifier the checkpoint you hold with `--against
        FILE`.%(checked)s
        """
        first, second = self.asked["from"], self.asked["to"]
        if first is None:
            raise QuestionError.at("from", "missing; enter the size of the checkpoint")
        school = proofs.school_of(self.user, self.asked["school"])
        return proofs.grown(school, first, second, at=self.at)
