"""Checks an export of the ledger (``ledger-export/1``). Standard library and ``cryptography`` alone."""

import dataclasses
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from training.ledger.core import assertions, proofs, sealed, statements
from training.ledger.core.faults import Error

TOP = {"format", "tree", "keys", "checkpoint", "contents", "entries", "earlier"}
ENTRY = {"index", "kind", "subject", "at", "commitment", "body", "salt", "proof"}
EARLIER = {"checkpoint", "consistency"}


@dataclasses.dataclass
class Verdict:
    """What was found. ``checkpoint`` and ``contents`` are what was signed, where that could be read."""

    faults: list[Error] = dataclasses.field(default_factory=list)
    entries: int = 0
    passkeys: int = 0
    erased: list[int] = dataclasses.field(default_factory=list)
    earlier: list[dict[str, Any]] = dataclasses.field(default_factory=list)
    checkpoint: dict[str, Any] | None = None
    contents: dict[str, Any] | None = None
    kid: str = ""

    @property
    def whole(self) -> bool:
        return not self.faults

    def fault(self, place: str, says: str) -> None:
        self.faults.append(Error(place, says))


def check(document: Any, *, trusted: Iterable[str] = (), against: str | None = None) -> Verdict:
    """Check an export (``ledger-export/1``), read from JSON.

    ``trusted``: the key ids that are believed; with none, those of the file itself, which then shows only
    that the file is consistent. ``against``: a checkpoint (compact JWS) that the reader held before.
    """
    verdict = Verdict()
    if not isinstance(document, dict) or document.get("format") != sealed.EXPORT:
        verdict.fault("file", f"is not an export of a ledger ({sealed.EXPORT})")
        return verdict
    if set(document) != TOP:
        verdict.fault("file", _fields(document, TOP))
        return verdict
    try:
        keys = statements.public_keys(document["keys"])
    except statements.StatementError as fault:
        place, _, says = str(fault).partition(": ")
        verdict.fault(place, says)
        return verdict
    believed = dict(keys)
    if wanted := set(trusted):
        believed = {kid: public for kid, public in keys.items() if kid in wanted}
        if not believed:
            verdict.fault("keys", f"none of the file's keys is one you trust ({', '.join(sorted(wanted))})")
            return verdict

    tree = document["tree"]
    checkpoint = _statement(verdict, "checkpoint", document["checkpoint"], believed, sealed.CHECKPOINT, tree)
    contents = _statement(verdict, "contents", document["contents"], believed, sealed.CONTENTS, tree)
    if checkpoint is None or contents is None:
        return verdict
    verdict.kid, verdict.checkpoint = checkpoint
    verdict.contents = contents[1]
    if contents[0] != verdict.kid:
        # Else the holder of one trusted key could say of another's ledger what is, and is not, in it.
        verdict.fault("contents", f"is signed with {contents[0]}, the checkpoint with {verdict.kid}")
    for name in ("size", "root"):
        if contents[1][name] != checkpoint[1][name]:
            verdict.fault("contents", f"is about the {name} {contents[1][name]}, the checkpoint is not")
    _entries(verdict, document["entries"], verdict.checkpoint, verdict.contents)
    _earlier(verdict, document["earlier"], believed, verdict.checkpoint)
    if against is not None:
        _against(verdict, against, believed, verdict.checkpoint)
    return verdict


def _fields(found: Mapping[str, Any], wanted: set[str]) -> str:
    lost, more = sorted(wanted - set(found)), sorted(set(found) - wanted)
    return "; ".join(
        [
            *([f"lacks {', '.join(lost)}"] if lost else []),
            *([f"has {', '.join(more)} besides"] if more else []),
        ]
    )


def _statement(
    verdict: Verdict, place: str, token: object, keys: Mapping[str, str], form: str, tree: object
) -> tuple[str, dict[str, Any]] | None:
    try:
        kid, said = statements.read(token, keys, form)
    except statements.StatementError as fault:
        verdict.fault(place, str(fault))
        return None
    if said["tree"] != tree:
        verdict.fault(place, f"is about another ledger: {said['tree']!r}, the file says {tree!r}")
        return None
    return kid, said


def _entries(verdict: Verdict, listed: object, checkpoint: dict[str, Any], contents: dict[str, Any]) -> None:
    if not isinstance(listed, list):
        verdict.fault("entries", "is not a list")
        return
    promised, erased = set(contents["indices"]), set(contents["erased"])
    seen: set[int] = set()
    last = -1
    for number, entry in enumerate(listed):
        place = f"entries[{number}]"
        if not _readable(verdict, place, entry):
            continue
        index = entry["index"]
        place = f"{place} (entry {index})"
        verdict.entries += 1
        if index in seen:
            verdict.fault(place, "occurs twice")
        elif index < last:
            verdict.fault(place, f"comes after entry {last}: the order was changed")
        if index not in promised:
            verdict.fault(place, "is not on the signed list of contents: it was added")
        seen.add(index)
        last = max(last, index)
        if not _entry(verdict, place, entry, checkpoint):
            _listed(verdict, place, entry, contents, erased)
    for index in sorted(promised - seen):
        verdict.fault(f"entry {index}", "is missing: the signed list of contents names it")


def _readable(verdict: Verdict, place: str, entry: object) -> bool:
    """Whether an entry has its fields and an index; names what is wrong."""
    if not isinstance(entry, dict) or set(entry) != ENTRY:
        verdict.fault(place, _fields(entry, ENTRY) if isinstance(entry, dict) else "is not an entry")
        return False
    index = entry["index"]
    if type(index) is not int or index < 0:
        verdict.fault(f"{place}.index", f"{index!r} is not an index")
        return False
    return True


def _listed(
    verdict: Verdict, place: str, entry: dict[str, Any], contents: dict[str, Any], erased: set[int]
) -> None:
    """Hold an entry that is whole against what the signed list of contents says of it."""
    index = entry["index"]
    if entry["body"] is None and index in erased:
        verdict.erased.append(index)
    elif entry["body"] is None:
        verdict.fault(place, "its body was taken out: the signed list of contents has it as kept")
    elif index in erased:
        verdict.fault(place, "has a body, the signed list of contents has it as erased")
    elif contents["subjects"] is not None and entry["subject"] not in contents["subjects"]:
        verdict.fault(place, f"is about {entry['subject']!r}, whom the export is not about")


def _entry(verdict: Verdict, place: str, entry: dict[str, Any], checkpoint: dict[str, Any]) -> bool:
    """Check one entry's commitment and proof; True where a fault was found."""
    before = len(verdict.faults)
    _types(verdict, place, entry)
    if len(verdict.faults) > before:
        return True
    try:
        if entry["body"] is not None:
            _body(verdict, place, entry)
        fields = {name: entry[name] for name in ("index", "kind", "subject", "at", "commitment")}
        leaf = proofs.leaf_hash(sealed.leaf_data(tree=checkpoint["tree"], **fields))
        proofs.check_inclusion(
            entry["index"],
            checkpoint["size"],
            leaf,
            [bytes.fromhex(step) for step in entry["proof"]],
            bytes.fromhex(checkpoint["root"]),
        )
    except UnicodeEncodeError:
        verdict.fault(place, "holds half of a character (a lone surrogate)")
    except proofs.ProofError as fault:
        verdict.fault(
            place,
            f"its kind, subject, instant, index or commitment, or its proof was changed, "
            f"or it is of another ledger: {fault}",
        )
    return len(verdict.faults) > before


def _types(verdict: Verdict, place: str, entry: dict[str, Any]) -> None:
    """Name the fields of an entry that do not hold what such a field holds."""
    for name in ("kind", "subject", "at"):
        if not isinstance(entry[name], str):
            verdict.fault(f"{place}.{name}", "is not a text")
    if not sealed.is_hash(entry["commitment"]):
        verdict.fault(f"{place}.commitment", "is not a hash of 64 hexadecimal digits")
    body, salt = entry["body"], entry["salt"]
    if (body is None) != (salt is None):
        verdict.fault(place, "has only one of body and salt")
    elif body is not None and not (isinstance(body, str) and sealed.is_hash(salt)):
        verdict.fault(place, "its body is not a text or its salt not 64 hexadecimal digits")
    proof = entry["proof"]
    if not isinstance(proof, list) or not all(sealed.is_hash(step) for step in proof):
        verdict.fault(f"{place}.proof", "is not a list of hashes of 64 hexadecimal digits")


def _body(verdict: Verdict, place: str, entry: dict[str, Any]) -> None:
    """Check what an entry says against its commitment, and the signature in it."""
    body = entry["body"]
    if sealed.commitment(entry["salt"], body) != entry["commitment"]:
        verdict.fault(place, "its body, salt or commitment was changed: they do not fit each other")
    elif wrong := sealed.body_fault(body):
        verdict.fault(place, f"its body is not in our form: {wrong}")
    else:
        _confirmed(verdict, place, entry["kind"], entry["subject"], sealed.strict_json(body))


def _confirmed(verdict: Verdict, place: str, kind: str, subject: str, said: dict[str, Any]) -> None:
    """Check the passkey's signature under what an entry says, where there is one."""
    if wrong := assertions.entry_fault(kind, subject, said):
        verdict.fault(place, wrong)
    elif isinstance(said.get("confirmed"), dict) and said["confirmed"].get("by") == assertions.PASSKEY:
        verdict.passkeys += 1


def _earlier(verdict: Verdict, listed: object, keys: Mapping[str, str], checkpoint: dict[str, Any]) -> None:
    if not isinstance(listed, list):
        verdict.fault("earlier", "is not a list")
        return
    for number, one in enumerate(listed):
        place = f"earlier[{number}]"
        if not isinstance(one, dict) or set(one) != EARLIER:
            verdict.fault(place, _fields(one, EARLIER) if isinstance(one, dict) else "is not a checkpoint")
            continue
        found = _statement(
            verdict, f"{place}.checkpoint", one["checkpoint"], keys, sealed.CHECKPOINT, checkpoint["tree"]
        )
        path = one["consistency"]
        if not isinstance(path, list) or not all(sealed.is_hash(step) for step in path):
            verdict.fault(f"{place}.consistency", "is not a list of hashes of 64 hexadecimal digits")
        elif found is not None:
            said = found[1]
            try:
                proofs.check_consistency(
                    said["size"],
                    checkpoint["size"],
                    bytes.fromhex(said["root"]),
                    bytes.fromhex(checkpoint["root"]),
                    [bytes.fromhex(step) for step in path],
                )
            except proofs.ProofError as fault:
                verdict.fault(
                    f"{place}.consistency",
                    f"does not show that the ledger only grew since {said['size']} entries: {fault}",
                )
            else:
                verdict.earlier.append(said)


def _against(verdict: Verdict, token: str, keys: Mapping[str, str], checkpoint: dict[str, Any]) -> None:
    place = "the checkpoint you held"
    found = _statement(verdict, place, token, keys, sealed.CHECKPOINT, checkpoint["tree"])
    if found is None:
        return
    held = found[1]
    if held["size"] == checkpoint["size"]:
        if held["root"] != checkpoint["root"]:
            verdict.fault(place, "has the same number of entries and another root: the ledger was rewritten")
        return
    if held["size"] > checkpoint["size"]:
        verdict.fault(
            place,
            f"counts {held['size']} entries, this export's {checkpoint['size']}: it is older, or the end was "
            "cut off; ask for a new export",
        )
        return
    same_size = [one for one in verdict.earlier if one["size"] == held["size"]]
    if not same_size:
        verdict.fault(
            place,
            f"nothing in the file leads from its {held['size']} entries to {checkpoint['size']}; ask for an "
            "export that starts from the checkpoint you hold",
        )
    elif all(one["root"] != held["root"] for one in same_size):
        verdict.fault(place, "has another root than the ledger had at that size: the ledger was rewritten")


def report(verdict: Verdict, trusted: Sequence[str]) -> list[str]:
    """What is said about a verdict, in lines."""
    lines = [f"ERROR {fault}" for fault in verdict.faults]
    checkpoint = verdict.checkpoint
    if verdict.faults or checkpoint is None:
        return [*lines, f"NOT WHOLE. Errors: {len(verdict.faults)}. Do not rely on this file."]
    lines.append(
        f"WHOLE: {verdict.entries} entries of the ledger {checkpoint['tree']}, proved against its "
        f"checkpoint of {checkpoint['size']} entries at {checkpoint['at']}, signed with the key "
        f"{verdict.kid}."
    )
    if verdict.passkeys:
        lines.append(
            f"Signed with a passkey, and checked: {verdict.passkeys} of them. The signature is over content, "
            "student and record; whose passkey it was is the school's word."
        )
    if verdict.erased:
        erased = ", ".join(str(index) for index in verdict.erased)
        lines.append(f"Erased (their proofs hold, what they said is gone): {erased}.")
    subjects = verdict.contents["subjects"] if verdict.contents else None
    if subjects is not None:
        lines.append(
            f"The signer states that these are all entries of {', '.join(subjects)} up to that checkpoint."
        )
    for held in verdict.earlier:
        lines.append(f"Nothing before the checkpoint of {held['size']} entries at {held['at']} was changed.")
    if not trusted:
        lines.append(
            "CAUTION: the key came with this file. Compare its id with what the school has published, then "
            f"say: --key {verdict.kid}"
        )
    return lines
