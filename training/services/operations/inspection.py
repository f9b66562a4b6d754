"""Inspects a whole database, as after a restore: triggers, ledger, and signed rows against the ledger."""

from collections.abc import Iterator
from dataclasses import dataclass, field

from django.conf import settings
from django.db import connection

from training import models
from training.ledger.core import checking
from training.ledger.store import audit, keys
from training.services.lessons import lesson_audit
from training.services.operations import readiness
from training.services.releases import release_audit
from training.triggers import every

_COUNTED = {
    "schools": (models.School,),
    "people": (models.User,),
    "students": (models.Student,),
    "entries of records": models.ENTRIES,
    "signed lessons": (models.SignOff,),
    "endorsements' seals": (models.EndorsementSeal,),
    "notes of access": (models.AccessLog,),
}


@dataclass(slots=True)
class Found:
    """The result of an inspection: numbers to show, errors, and ``cautions``."""

    figures: list[str] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)


def look() -> Found:
    """Compare everything that is signed with the ledger; slower with more data."""
    found = Found()
    if newer := readiness.unknown_migrations():
        found.faults.append(
            f"this program is older than the database, which has the migrations {', '.join(newer)}: "
            "run the version that wrote it, or a newer one"
        )
        return found
    if pending := readiness.pending_migrations():
        found.faults.append(
            f"the database is older than the program; migrations to apply: {len(pending)},"
            f" first {pending[0]}: run manage.py migrate, then manage.py verify_ledger"
        )
        return found
    with audit.snapshot():
        for name, tables in _COUNTED.items():
            number = sum(model._default_manager.count() for model in tables)
            found.figures.append(f"{name}: {number:,}")
        lost = every.missing(connection)
        found.faults += [f"trigger {name} is missing" for name in lost]
        found.faults += [
            str(fault) for fault in audit.database_faults() if not str(fault).startswith("trigger ")
        ]
        for tree in audit.trees():
            _tree(tree, found)
        for school in models.School.objects.order_by("pk"):
            found.faults += [f"school {school.pk}: {each}" for each in lesson_audit.faults(school)]
            found.faults += [f"school {school.pk}: {each}" for each in release_audit.faults(school)]
            if gone := sum(1 for _ in lesson_audit.erased(school)):
                found.figures.append(f"school {school.pk}: {gone} signed entries erased, with reasons")
    found.cautions += _of_the_key()
    return found


def _tree(tree: str, found: Found) -> None:
    tally = checking.Tally()
    found.faults += [f"ledger {tree}: {fault}" for fault in audit.tree_faults(tree, tally)]
    found.cautions += [f"ledger {tree}: {each}" for each in audit.backwards(tree, settings.CLOCK_DRIFT)]
    found.figures.append(
        f"ledger {tree}: {tally.entries:,} entries ({tally.erased} erased), {tally.nodes:,} nodes, "
        f"{tally.checkpoints} checkpoints: {f'errors: {tally.faults}' if tally.faults else 'whole'}"
    )


def _of_the_key() -> Iterator[str]:
    from django.core.exceptions import ImproperlyConfigured

    known = keys.known()
    if not known:
        return
    drawn = settings.LEDGER_KEY_FILE is None or settings.LEDGER_KEY_FILE.exists()
    try:
        kid = keys.signer().kid if settings.LEDGER_SIGNING_KEY.strip() or drawn else ""
    except ImproperlyConfigured:
        kid = ""
    if kid not in known:
        yield (
            f"checkpoints here were signed with {', '.join(sorted(known))}, and this installation has "
            f"{'the key ' + kid if kid else 'no key'}: restore the key, which is not in the backup. "
            "Old checkpoints stay valid under another key, but tell their readers its id."
        )
