"""Checks the stored resolutions of findings against the school's ledger."""

from collections.abc import Iterator

from training.ledger.models import Entry
from training.models import Resolution, School
from training.services.signing import seals

SEALED_AS = "finding.resolved"


def faults(school: School) -> Iterator[str]:
    """A sentence for every resolution that does not match its ledger entry, and for every entry without one.

    Queries: 3, whatever the number.
    """
    leaves = Entry.objects.filter(tree=seals.tree_of(school), kind=SEALED_AS).select_related("kept")
    by_index = {leaf.index: leaf for leaf in leaves}
    rows = Resolution.objects.filter(school=school).select_related("finding")
    places = []
    for row in rows:
        places.append(row.ledger_index)
        leaf = by_index.get(row.ledger_index)
        if leaf is None:
            yield f"resolution {row.pk} names entry {row.ledger_index}, which is not a {SEALED_AS}"
            continue
        kept = getattr(leaf, "kept", None)  # none if the body was erased
        if kept is None:
            continue
        body = kept.value
        said = (str(row.finding.ref), row.digest, row.how, row.note, row.by_id, row.confirmed)
        sealed = (
            *(body[key] for key in ("finding", "digest", "how", "note", "by")),
            body.get("confirmed", {}),
        )
        if said != sealed:
            yield f"resolution {row.pk} differs from ledger entry {row.ledger_index}"
    if len(set(places)) < len(places):
        yield "resolutions share an entry of the ledger"
    # Loading a demo school again deletes its rows, and its ledger entries stay.
    for index in () if school.is_demo else sorted(by_index.keys() - set(places)):
        yield f"entry {index} ({SEALED_AS}) has no row"
