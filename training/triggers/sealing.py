"""Triggers by which the database itself refuses to change or delete a sealed entry, whoever asks.

A sealed endorsement may be retired once, and only when its revocation stands beside it; an entry of a lesson,
with its landings, only when the correction of the lesson does. Rows that are written once (seals,
revocations, sign-offs, corrections) refuse every change, as does a lesson record once it is signed. Rows of a
demo school may be deleted, so that the demo can be loaded anew; what stands in the ledger about them stays.
So may rows of a student whose record's erasure is sealed (``erasing``).

Who vouches for an entry (``provenance``) is never changed, sealed or not: an entry that somebody vouches for
later has a row of its own. Sealing a flight, once its landings are there, is what makes it signed.

Whoever owns the tables can lift a trigger: the ledger then shows that a row is not what was sealed.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from django.apps import apps

from training.triggers import erasing
from training.triggers.installer import Triggers

#: The entries of a record.
ENTRIES = (
    "training_certificate",
    "training_document",
    "training_endorsement",
    "training_flight",
    "training_groundlesson",
    "training_itemgrade",
    "training_test",
)
LANDING, LESSONS, RESOLUTION = "training_landing", "training_lessonrecord", "training_resolution"
#: Tables whose rows are refused every change once written.
WRITTEN_ONCE = (
    "training_endorsementseal",
    "training_revocation",
    "training_signoff",
    "training_acknowledgement",
    "training_correction",
    "training_coursemove",
    "training_solorelease",
    "training_releasedecision",
    "training_releaseend",
    RESOLUTION,
    "training_handover",
    "training_foreignentry",
)
#: Characters of an address of a lesson's entries: its id as text, and a stroke.
PREFIX_LENGTH = 37
FUNCTION = "training_sealed_stays"
ONCE = "training_written_once"
LANDINGS = "training_sealed_landings_stay"
OF_FINDINGS = "training_resolution_stays"
PROVENANCE = "training_provenance_stays"
_SAYS_PROVENANCE = "keeps who vouches for it; an entry that somebody vouches for has a row of its own"
#: A change of who vouches for an entry that is not its sealing.
_REVOUCHED = "OLD.provenance <> NEW.provenance AND NOT (NEW.sealed AND NOT OLD.sealed)"
_SAYS = "is sealed: it is never changed or deleted; what ends it is an entry of its own"
_DEMO = "EXISTS (SELECT 1 FROM training_school WHERE id = OLD.school_id AND is_demo)"
_VIA_FINDING = "(SELECT student_id FROM training_finding WHERE id = OLD.finding_id)"
_REVOKED = "EXISTS (SELECT 1 FROM training_revocation WHERE endorsement_id = OLD.id)"
#: The lesson whose id stands at the beginning of the entry's was corrected.
_CORRECTED = (
    "EXISTS (SELECT 1 FROM training_correction WHERE student_id = OLD.student_id"  # noqa: S608
    f" AND entries = substr(OLD.entry_id, 1, {PREFIX_LENGTH}))"
)
#: The same of the flight that landings belong to.
_FLIGHT_CORRECTED = (
    "EXISTS (SELECT 1 FROM training_flight f JOIN training_correction c ON c.student_id = f.student_id"  # noqa: S608
    f" AND c.entries = substr(f.entry_id, 1, {PREFIX_LENGTH}) WHERE f.id = OLD.flight_id)"
)
_FLIGHT_SEALED = "EXISTS (SELECT 1 FROM training_flight WHERE id = OLD.flight_id AND sealed)"

#: The record was erased, and that is sealed: what is left of this student's may go, and of no other's.
_ERASED = erasing.erased("postgresql")

_POSTGRESQL_FUNCTIONS = {
    FUNCTION: f"""
BEGIN
  IF TG_OP = 'DELETE' THEN
    IF {_DEMO} OR {_ERASED} THEN RETURN OLD; END IF;
  ELSIF OLD.retired_at IS NULL AND NEW.retired_at IS NOT NULL
    AND to_jsonb(NEW) - 'retired_at' = to_jsonb(OLD) - 'retired_at'
  THEN
    IF TG_TABLE_NAME = 'training_endorsement' THEN
      IF {_REVOKED} THEN RETURN NEW; END IF;
    ELSIF {_CORRECTED} THEN RETURN NEW;
    END IF;
  END IF;
  RAISE EXCEPTION '% row % {_SAYS}', TG_TABLE_NAME, OLD.id USING ERRCODE = 'restrict_violation';
END""",
    LANDINGS: f"""
BEGIN
  IF TG_OP <> 'DELETE' AND NOT (TG_OP = 'UPDATE' AND NEW.flight_id = OLD.flight_id) THEN
    IF {_FLIGHT_SEALED.replace("OLD", "NEW")} THEN
      RAISE EXCEPTION 'the flight % {_SAYS}', NEW.flight_id USING ERRCODE = 'restrict_violation';
    END IF;
    IF TG_OP = 'INSERT' THEN RETURN NEW; END IF;
  END IF;
  IF NOT {_FLIGHT_SEALED} THEN
    IF TG_OP = 'DELETE' THEN RETURN OLD; END IF;
    RETURN NEW;
  ELSIF TG_OP = 'DELETE' THEN
    IF {_DEMO} OR {_ERASED} THEN RETURN OLD; END IF;
  ELSIF OLD.retired_at IS NULL AND NEW.retired_at IS NOT NULL
    AND to_jsonb(NEW) - 'retired_at' = to_jsonb(OLD) - 'retired_at' AND {_FLIGHT_CORRECTED}
  THEN RETURN NEW;
  END IF;
  RAISE EXCEPTION '% row % {_SAYS}', TG_TABLE_NAME, OLD.id USING ERRCODE = 'restrict_violation';
END""",
    ONCE: f"""
BEGIN
  IF TG_OP = 'DELETE' AND ({_DEMO} OR {_ERASED}) THEN RETURN OLD; END IF;
  RAISE EXCEPTION '% row % {_SAYS}', TG_TABLE_NAME, OLD.id USING ERRCODE = 'restrict_violation';
END""",
    PROVENANCE: f"""
BEGIN
  RAISE EXCEPTION '% row % {_SAYS_PROVENANCE}', TG_TABLE_NAME, OLD.id USING ERRCODE = 'restrict_violation';
END""",
    OF_FINDINGS: f"""
BEGIN
  IF TG_OP = 'DELETE' AND ({_DEMO} OR {erasing.erased("postgresql", _VIA_FINDING)}) THEN RETURN OLD; END IF;
  RAISE EXCEPTION '% row % {_SAYS}', TG_TABLE_NAME, OLD.id USING ERRCODE = 'restrict_violation';
END""",
}


@dataclass(frozen=True, slots=True)
class _Guarded:
    """A guarded table: which of its rows are (a condition on a row whose name is put before the columns;
    empty: all), and on what condition ``OLD`` may be retired (empty: never)."""

    table: str
    function: str
    rows: str = ""
    retires: str = ""


def _tables() -> Iterator[_Guarded]:
    for table in ENTRIES:
        ends = _REVOKED if table == "training_endorsement" else _CORRECTED
        yield _Guarded(table, FUNCTION, "{row}.sealed", ends)
    for table in WRITTEN_ONCE:
        yield _Guarded(table, OF_FINDINGS if table == RESOLUTION else ONCE)
    yield _Guarded(LESSONS, ONCE, "{row}.state = 'signed'")
    sealed = "EXISTS (SELECT 1 FROM training_flight WHERE id = {row}.flight_id AND sealed)"
    yield _Guarded(LANDING, LANDINGS, sealed, _FLIGHT_CORRECTED)


def _made(vendor: str) -> dict[str, tuple[str, str]]:
    """The triggers of this database: name to table and definition."""
    found: dict[str, tuple[str, str]] = {}
    for each in _tables():
        table = each.table
        if vendor == "postgresql":
            # A condition of a trigger holds no query: the function of the landings asks it.
            asks = each.rows and each.function != LANDINGS
            events = "UPDATE OR DELETE" if each.function != LANDINGS else "INSERT OR UPDATE OR DELETE"
            when = f" WHEN ({each.rows.format(row='OLD')})" if asks else ""
            found[f"{table}_stays"] = (
                table,
                f"CREATE TRIGGER {table}_stays BEFORE {events} ON {table}"
                f" FOR EACH ROW{when} EXECUTE FUNCTION {each.function}()",
            )
        else:
            for name, event, condition in _sqlite(each):
                found[name] = (
                    table,
                    f"CREATE TRIGGER {name} BEFORE {event} ON {table} FOR EACH ROW WHEN {condition}"
                    f" BEGIN SELECT RAISE(ABORT, 'a row of {table} {_SAYS}'); END",
                )
    for table in ENTRIES:
        found[f"{table}_provenance"] = (table, _keeps_provenance(vendor, table))
    return found


def _keeps_provenance(vendor: str, table: str) -> str:
    begins = f"CREATE TRIGGER {table}_provenance BEFORE UPDATE ON {table} FOR EACH ROW WHEN ({_REVOUCHED})"
    if vendor == "postgresql":
        return f"{begins} EXECUTE FUNCTION {PROVENANCE}()"
    return f"{begins} BEGIN SELECT RAISE(ABORT, 'a row of {table} {_SAYS_PROVENANCE}'); END"


def _sqlite(guarded: _Guarded) -> Iterator[tuple[str, str, str]]:
    """Name, event and condition of each trigger of a table on SQLite.

    The one on INSERT is against ``INSERT OR REPLACE``, which deletes without firing the others.
    """
    table = guarded.table
    old, there = (guarded.rows.format(row=row) if guarded.rows else "1" for row in ("OLD", "there"))
    retires = "0"
    if guarded.retires:
        kept = " AND ".join(
            f'NEW."{column}" IS OLD."{column}"' for column in _columns(table) if column != "retired_at"
        )
        retires = f"(OLD.retired_at IS NULL AND NEW.retired_at IS NOT NULL AND {kept} AND {guarded.retires})"
    same = f"SELECT 1 FROM {table} there WHERE there.id = NEW.id AND {there}"  # noqa: S608
    if guarded.function == LANDINGS:  # none is added to a flight that is sealed
        added = guarded.rows.format(row="NEW")
        yield f"{table}_no_more", "INSERT", added
        yield f"{table}_no_move", "UPDATE", f"NEW.flight_id IS NOT OLD.flight_id AND {added}"
    yield f"{table}_no_update", "UPDATE", f"{old} AND NOT {retires}"
    student = _VIA_FINDING if guarded.function == OF_FINDINGS else "OLD.student_id"
    goes = f"({_DEMO} OR {erasing.erased('sqlite', student)})"
    yield f"{table}_no_delete", "DELETE", f"{old} AND NOT {goes}"
    yield f"{table}_no_replace", "INSERT", f"EXISTS ({same})"


def _columns(table: str) -> list[str]:
    (model,) = [each for each in apps.get_app_config("training").get_models() if each._meta.db_table == table]
    return [str(field.column) for field in model._meta.concrete_fields]


TRIGGERS = Triggers(
    _made, lambda: _POSTGRESQL_FUNCTIONS, lambda: {each.table: _columns(each.table) for each in _tables()}
)
