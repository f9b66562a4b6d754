"""The training record document: ``parse`` reads it, ``dump`` writes it.

One student's whole record in the form ``training-record/1``. Reading is strict: an unknown key, a unit of
the wrong dimension, a date that does not exist are errors with their place, and all errors are listed at
once. A missing time or count is zero; a missing fact stays unknown. What its objects may say is declared in
``syllabus.engine.record.record``.
"""

from __future__ import annotations

from typing import Any

from syllabus.engine.errors import DocumentError
from syllabus.engine.record import reading
from syllabus.engine.record.reading import Errors, Object
from syllabus.engine.record.record import FORMAT, Record
from syllabus.engine.record.shapes import shape_of

_RECORD = shape_of(Record)


def parse(document: object, place: str = "") -> Record:
    """Read a training record document.

    Shapes:  plain JSON values, as ``json.loads`` gives them; ``place`` is put before every error's place.
    Units:   quantities by the rules of ``units``; times become microseconds.
    Raises:  DocumentError with every error found.
    """
    errors = Errors()
    fields = Object(errors, document, place)
    fields.take("format", reading.one_of((FORMAT,), "known format"), required=True)
    found = {each.name: fields.take(each.key, each.type.read, each.default) for each in _RECORD.fields}
    fields.done()
    for part in Record.PARTS:
        reading.unique(errors, found[part], fields.at(part))
    flights = {flight.id for flight in found["flights"]}
    for index, item in enumerate(found["items"]):
        if item.flight is not None and item.flight not in flights:
            errors.add(f"{fields.at('items')}[{index}].flight", f"no flight has the id {item.flight!r}")
    errors.stop(DocumentError)
    return Record(**found)


def dump(record: Record, *, provenance: bool = False) -> dict[str, Any]:
    """The record document of a record: ``parse(dump(record)) == record``.

    With ``provenance`` every entry says who vouches for it. That is for the reader: who reads a document back
    believes none of it.
    """
    made: dict[str, Any] = {"format": FORMAT}
    for each in _RECORD.fields:
        made[each.key] = each.type.write(getattr(record, each.name))
    if provenance:
        for part in record.PARTS:
            for said, entry in zip(made[part], getattr(record, part), strict=True):
                said["provenance"] = entry.provenance
    return made
