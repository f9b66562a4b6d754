"""What ledger entries prove of a transferred record: another school's entries, or this ledger's own."""

import json
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from django.db.models import Q

from syllabus.engine.errors import DocumentError, InputError
from syllabus.engine.record import document as documents
from syllabus.engine.record import reading
from syllabus.engine.record import record as engine
from training import record
from training.ledger.core import assertions
from training.ledger.models import Entry as Leaf
from training.ledger.verify import handover
from training.models import Student
from training.services.lessons import lesson_content
from training.services.records import record_changes
from training.services.signing import seals
from training.triggers import erasing

#: The kind of ledger entry of an imported record.
TAKEN_OVER = "record.taken-over"
#: The hash of each attested entry, by its list and id.
Hashes = dict[tuple[str, str], str]
#: Kinds of ledger entries that list entries of a record by their hashes, with their provenance.
_LISTS_ENTRIES = (record_changes.ADDED, record_changes.ATTESTED, TAKEN_OVER)


def proven_by(found: handover.Checked) -> Hashes:
    """What is proven of a transferred record: the hash of each entry, by its list and id.

    An entry is proven if the ledger's entries leave it in force and the signed document calls it more than a
    claim.
    """
    leaves = []
    for each in found.document(handover.LEDGER)["entries"]:
        body = json.loads(each["body"]) if isinstance(each["body"], str) else each["body"]
        leaves.append((each["kind"], body))
    standing = _standing(leaves)
    stated = reading.loads(found.files[handover.RECORD], error=DocumentError)
    believed = {
        (part, each["id"])
        for part in engine.Record.PARTS
        for each in stated.get(part, ())
        if each.get("provenance", engine.CLAIMED) != engine.CLAIMED
    }
    return {key: value for key, value in standing.items() if key in believed}


def sealed_here(student: Student, whose: engine.Student) -> Hashes:
    """What this school's own ledger proves of a student, or of one of the same name and birth date.

    Another school proves no signature of this one's instructors: a student who comes back has them here.
    """
    same = Q(pk=student.pk)
    if whose.birth_date is not None:
        same |= Q(name=whose.name, birth_date=whose.birth_date)
    proven: Hashes = {}
    for ref in Student.objects.filter(same, school=student.school_id).values_list("ref", flat=True):
        leaves = Leaf.objects.filter(tree=seals.tree_of(student.school_id), subject=str(ref))
        kept = leaves.filter(kept__isnull=False).select_related("kept").order_by("index")
        # an imported record is no signature of this school either
        said = ((each.kind, each.kept.value) for each in kept if each.kind != TAKEN_OVER)
        proven.update(_standing(said))
    return proven


def _standing(leaves: Iterable[tuple[str, Mapping[str, Any] | None]]) -> Hashes:
    """The proven entries after all ledger entries, in order: a later one ends or replaces an earlier one."""
    proven: Hashes = {}
    for kind, body in leaves:
        if kind == erasing.KIND:
            proven.clear()
        if body is None:
            continue
        _end(proven, kind, body)
        try:
            proven.update(
                {(part, entry.id): record.entry_hash(part, entry) for part, entry in _said(kind, body)}
            )
        except (InputError, KeyError, TypeError, ValueError, AttributeError):
            pass  # an entry that cannot be read proves nothing
        if kind in _LISTS_ENTRIES:
            proven.update(_vouched(body))
    return proven


def _end(proven: Hashes, kind: str, body: Mapping[str, Any]) -> None:
    """Drop what a ledger entry removes from the record or replaces."""
    ends: set[tuple[str, str]] = set()
    if kind == "lesson.corrected":
        prefix = f"{body.get('lesson_record')}/"
        ends = {key for key in proven if key[1].startswith(prefix)}
    elif kind == "endorsement.revoked":
        ends = {("endorsements", str(body.get("entry")))}
    elif kind in (record_changes.REPLACED, *_LISTS_ENTRIES):
        ends = {(each["part"], each["id"]) for key in ("retired", "added") for each in body.get(key, ())}
    for key in ends:
        proven.pop(key, None)


def _said(kind: str, body: Mapping[str, Any]) -> Iterator[tuple[str, engine.Entry]]:
    """The entries of a record that a signed ledger entry creates."""
    if kind == "lesson.signed":
        content = lesson_content.read(body["content"])
        by = body["instructor"]
        who = engine.Instructor(by["name"], by["certificate"], by.get("kind", engine.FLIGHT_INSTRUCTOR))
        for part, entries in content.entries(f"{body['lesson_record']}/", who).items():
            yield from ((part, entry) for entry in entries)
    elif kind in ("endorsement.given", "endorsement.revoked"):
        given = body["endorsement"] if kind == "endorsement.given" else body["in_its_place"]
        unsealed = json.loads(assertions.canonical(given))  # the coordinates of waypoints as numbers again
        form = {"format": engine.FORMAT, "endorsements": [unsealed]}
        yield "endorsements", documents.parse(form).endorsements[0]


def _vouched(body: Mapping[str, Any]) -> Hashes:
    return {
        (each["part"], each["id"]): each["hash"]
        for each in body.get("added", ())
        if each["provenance"] in (engine.ATTESTED, engine.TAKEN_OVER)
    }
