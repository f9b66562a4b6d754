"""Checks the stored decisions and ends of solo releases against the school's ledger."""

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from training.ledger.models import Entry
from training.models import ReleaseDecision, ReleaseEnd, School
from training.services.releases import release_check, releases
from training.services.signing import seals


def faults(school: School) -> Iterator[str]:
    """A sentence for every row that does not match its ledger entry, and for every entry without a row.

    Queries: 2 for each kind, whatever the number.
    """
    models: tuple[tuple[str, type[Any], Callable[[Any, Mapping[str, Any]], bool]], ...] = (
        (releases.DECIDED, ReleaseDecision, _decided),
        (releases.ENDED, ReleaseEnd, _ended),
    )
    for kind, model, said in models:
        leaves = Entry.objects.filter(tree=seals.tree_of(school), kind=kind).select_related("kept")
        by_index = {leaf.index: leaf for leaf in leaves}
        places = []
        for row in model._default_manager.filter(school=school).select_related("release"):
            places.append(row.ledger_index)
            leaf = by_index.get(row.ledger_index)
            what = f"the {'decision' if model is ReleaseDecision else 'end'} of solo release {row.release_id}"
            if leaf is None:
                yield f"{what} names entry {row.ledger_index}, which is not a {kind}"
            elif (kept := getattr(leaf, "kept", None)) is not None and not said(row, kept.value):
                yield f"{what} differs from ledger entry {row.ledger_index}"
        if len(set(places)) < len(places):
            yield f"rows of {model._meta.db_table} share an entry"
        # Loading a demo school again deletes its rows, and its ledger entries stay.
        erased = {index for index, leaf in by_index.items() if not hasattr(leaf, "kept")}
        for index in () if school.is_demo else sorted(by_index.keys() - set(places) - erased):
            yield f"entry {index} ({kind}) has no row"


def _decided(row: ReleaseDecision, body: Mapping[str, Any]) -> bool:
    ends = row.ends_at.isoformat() if row.ends_at else None
    said = (row.decision, row.reason, row.checked, row.lines_confirmed, row.against, ends)
    keys = ("decision", "reason", "checked", "lines_confirmed", "against", "ends_at")
    return (
        said == tuple(body[key] for key in keys)
        and _by(row, body)
        and release_check.canonical(row.answer) == body["answer"]
        and release_check.is_about(row.release.flight, body["check"])
    )


def _ended(row: ReleaseEnd, body: Mapping[str, Any]) -> bool:
    return row.reason == body["reason"] and _by(row, body)


def _by(row: ReleaseDecision | ReleaseEnd, body: Mapping[str, Any]) -> bool:
    said = (str(row.release_id), row.by_id, row.confirmed)
    return said == (body["release"], body["by"], body.get("confirmed", {}))
