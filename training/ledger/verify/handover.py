"""Checks the file of a hand-over: a student's whole record as one package, whole to the byte.

In the package (``training.ledger.core.package``)::

    manifest.jws      hand-over/1, signed: every file with size and hash, whose record, rulebook, courses
    ledger.json       ledger-export/1: every sealed entry about the student, proofs, checkpoint, public keys
    record.json       training-record/1
    record.pdf endorsements.pdf lessons/<id>.pdf courses/<code>-<number>.yaml README.txt

Needs the standard library and ``cryptography`` alone, as ``training.ledger.verify`` does, which calls it.
"""

import dataclasses
import hashlib
from collections.abc import Iterable, Mapping
from typing import Any

from training.ledger.core import package, sealed, statements
from training.ledger.core.faults import Error
from training.ledger.verify import exported

MANIFEST, LEDGER, RECORD = "manifest.jws", "ledger.json", "record.json"


@dataclasses.dataclass
class Checked:
    """What was found: the faults of the package, the verdict on its ledger, and what was signed."""

    faults: list[Error] = dataclasses.field(default_factory=list)
    ledger: exported.Verdict = dataclasses.field(default_factory=exported.Verdict)
    files: dict[str, bytes] = dataclasses.field(default_factory=dict)
    manifest: dict[str, Any] | None = None

    @property
    def whole(self) -> bool:
        return not self.faults

    def document(self, name: str) -> Any:
        """A file of the package, as JSON."""
        return sealed.strict_json(self.files[name])


def listing(files: Mapping[str, bytes]) -> list[dict[str, Any]]:
    """The files as the manifest has them."""
    return [
        {"name": name, "size": len(files[name]), "sha256": hashlib.sha256(files[name]).hexdigest()}
        for name in sorted(files)
    ]


def check(raw: bytes, *, trusted: Iterable[str] = (), against: str | None = None) -> Checked:
    """Check a hand-over; ``trusted`` and ``against`` are those of ``exported.check``."""
    trusted = list(trusted)
    found = Checked()
    found.files, found.faults = package.read(raw)
    for name in (MANIFEST, LEDGER, RECORD):
        if name not in found.files and not found.faults:
            found.faults.append(Error(name, "is missing"))
    if MANIFEST not in found.files or LEDGER not in found.files:
        return found
    broken = bool(found.faults)
    _ledger(found, trusted, against)
    _manifest(found, trusted)
    named = {fault.place.partition(" ")[0].partition(":")[0] for fault in found.faults}
    if found.manifest is not None:
        for fault in _unlike_signed(found, found.manifest["files"], broken, LEDGER in named):
            found.faults.append(fault)
            named.add(fault.place)
    if not broken:
        for fault in package.layout_faults(raw, found.files):
            if fault.place.partition(" ")[0] not in named:
                found.faults.append(fault)
    return found


def _ledger(found: Checked, trusted: list[str], against: str | None) -> None:
    try:
        document = sealed.strict_json(found.files[LEDGER])
    except ValueError as fault:
        found.faults.append(Error(LEDGER, f"is not JSON as an export is written: {fault}"))
        return
    found.ledger = exported.check(document, trusted=trusted, against=against)
    found.faults += [Error(f"{LEDGER}: {fault.place}", fault.says) for fault in found.ledger.faults]


def _manifest(found: Checked, trusted: list[str]) -> None:
    checkpoint, contents = found.ledger.checkpoint, found.ledger.contents
    if checkpoint is None or contents is None:
        return
    keys = statements.public_keys(found.document(LEDGER)["keys"])
    believed = {kid: public for kid, public in keys.items() if not trusted or kid in trusted}
    try:
        token = found.files[MANIFEST].decode("ascii")
        kid, said = statements.read(token, believed, sealed.HAND_OVER)
    except (statements.StatementError, UnicodeDecodeError) as fault:
        found.faults.append(Error(MANIFEST, str(fault)))
        return
    found.manifest = said
    if kid != found.ledger.kid:
        # Else the holder of one trusted key could put another record beside another's sealed entries.
        found.faults.append(Error(MANIFEST, f"is signed with {kid}, the ledger with {found.ledger.kid}"))
    for name in ("tree", "size", "root"):
        if said[name] != checkpoint[name]:
            found.faults.append(Error(MANIFEST, f"is about the {name} {said[name]}, the ledger's is not"))
    if contents["subjects"] != [said["subject"]]:
        found.faults.append(
            Error(MANIFEST, f"is about {said['subject']}, the list of sealed entries about somebody else")
        )


def _unlike_signed(
    found: Checked, listed: list[dict[str, Any]], broken: bool, ledger_named: bool
) -> list[Error]:
    """The files that are not those signed, less what is named already.

    Of the ledger's file that is its entry; of a package cut short, where it was cut.
    """
    return [
        fault
        for fault in _files(found.files, listed)
        if not (broken and fault.place not in found.files) and not (ledger_named and fault.place == LEDGER)
    ]


def _files(files: Mapping[str, bytes], listed: list[dict[str, Any]]) -> Iterable[Error]:
    wanted = {each["name"]: each for each in listed}
    for name in sorted({*files, *wanted} - {MANIFEST}):
        if name not in wanted:
            yield Error(name, "is not on the signed list of contents: it was added")
        elif name not in files:
            yield Error(name, "is missing: the signed list of contents names it")
        elif len(files[name]) != wanted[name]["size"]:
            yield Error(name, f"has {len(files[name])} bytes, signed were {wanted[name]['size']}")
        elif hashlib.sha256(files[name]).hexdigest() != wanted[name]["sha256"]:
            yield Error(name, "is not what was signed: its content was changed")


def report(found: Checked, trusted: list[str]) -> list[str]:
    """What is said about a hand-over, in lines."""
    if not found.whole or found.manifest is None:
        lines = [f"ERROR {fault}" for fault in found.faults]
        return [*lines, f"NOT WHOLE. Errors: {len(lines)}. Do not rely on this file."]
    about = found.manifest["about"]
    return [
        *exported.report(found.ledger, trusted),
        f"The hand-over of {about.get('school')} about the student {found.manifest['subject']}, signed "
        f"{found.manifest['at']}: all {len(found.files) - 1} files are those signed, to the byte.",
        f"Rulebook {about.get('rulebook')}.",
    ]
