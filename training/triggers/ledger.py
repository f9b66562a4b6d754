"""Triggers that refuse to change or take away what is sealed, and the rights that a plain role needs.

They stop a mistake, a bug and an application role; whoever owns the tables (on SQLite: the file) can lift
them. That such a hand was there is what the hashes and the checkpoints outside this server show.

On PostgreSQL the triggers are ``ENABLE ALWAYS``: ``session_replication_role`` does not lift them. On SQLite a
trigger before each insert keeps ``INSERT OR REPLACE`` from overwriting a row, which fires no delete trigger.
A body alone may go, where a later sealed entry of an erasure names it; the entry and every proof stay.
A migration that rebuilds one of these tables on SQLite drops its triggers: it must install them again.
"""

import re

from training.triggers.installer import Triggers

#: The tables whose rows are written once, with the columns by which SQLite would replace a row.
SEALED = {
    "ledger_entry": [["id"], ["tree", "index"]],
    "ledger_entrybody": [["entry_id"]],
    "ledger_node": [["id"], ["tree", "level", "index"]],
    "ledger_checkpoint": [["id"], ["tree", "size", "kid"]],
    "ledger_ledgerkey": [["kid"]],
}
HEAD = "ledger_head"
TABLES = [*SEALED, HEAD]

BODIES = "ledger_entrybody"
#: A later erasure, sealed about the same subject, names the entry whose body goes. The body of such
#: an entry is canonical JSON, so it begins with the index that it erases.
_ERASED = """EXISTS (SELECT 1 FROM ledger_entry t JOIN ledger_entry e ON e.tree = t.tree
 AND e.subject = t.subject AND e.kind = 'ledger.erasure' AND e."index" > t."index"
 JOIN ledger_entrybody b ON b.entry_id = e.id WHERE t.id = OLD.entry_id AND t.kind <> 'ledger.erasure'
 AND substr(b.body, 1, length('{"erases":' || t."index" || ',')) = '{"erases":' || t."index" || ',')"""
_STAYS = "rows of the ledger are never changed or deleted"
_FORWARD = "the head of a ledger only moves forward"
_BEGINS = "a ledger begins empty"

_FUNCTIONS = {
    "ledger_refuse": f"""
BEGIN
  RAISE EXCEPTION '%: {_STAYS}', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
END""",
    "ledger_refuse_body": f"""
BEGIN
  IF TG_OP = 'DELETE' THEN
    IF {_ERASED} THEN RETURN OLD; END IF;
  END IF;
  RAISE EXCEPTION '%: {_STAYS}', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
END""",
    # To empty an empty table changes nothing; a test runner does it between tests.
    "ledger_refuse_truncate": f"""
DECLARE
  filled boolean;
BEGIN
  EXECUTE format('SELECT EXISTS (TABLE %I.%I)', TG_TABLE_SCHEMA, TG_TABLE_NAME) INTO filled;
  IF filled THEN
    RAISE EXCEPTION '%: {_STAYS}', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
  END IF;
  RETURN NULL;
END""",
    "ledger_head_forward": f"""
BEGIN
  IF NEW.tree IS DISTINCT FROM OLD.tree OR NEW.size <= OLD.size THEN
    RAISE EXCEPTION '%: {_FORWARD}', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
  END IF;
  RETURN NEW;
END""",
    "ledger_head_begins": f"""
BEGIN
  IF NEW.size <> 0 THEN
    RAISE EXCEPTION '%: {_BEGINS}', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
  END IF;
  RETURN NEW;
END""",
}


def _postgresql() -> dict[str, tuple[str, str]]:
    """Trigger name to its table and definition."""
    found = {}
    for table in SEALED:
        refuse = "ledger_refuse_body" if table == BODIES else "ledger_refuse"
        found[f"{table}_stays"] = (table, "BEFORE UPDATE OR DELETE ON {} FOR EACH ROW", refuse)
    found[f"{HEAD}_stays"] = (HEAD, "BEFORE DELETE ON {} FOR EACH ROW", "ledger_refuse")
    found[f"{HEAD}_forward"] = (HEAD, "BEFORE UPDATE ON {} FOR EACH ROW", "ledger_head_forward")
    found[f"{HEAD}_begins"] = (HEAD, "BEFORE INSERT ON {} FOR EACH ROW", "ledger_head_begins")
    for table in TABLES:
        found[f"{table}_kept"] = (
            table,
            "BEFORE TRUNCATE ON {} FOR EACH STATEMENT",
            "ledger_refuse_truncate",
        )
    return {
        name: (table, f"CREATE TRIGGER {name} {when.format(table)} EXECUTE FUNCTION {function}()")
        for name, (table, when, function) in found.items()
    }


def _sqlite() -> dict[str, tuple[str, str]]:
    """Trigger name to its table and definition."""

    def refuse(name: str, when: str, table: str, says: str, condition: str = "") -> str:
        where = f" WHERE {condition}" if condition else ""
        return (
            f"CREATE TRIGGER {name} BEFORE {when} ON {table} FOR EACH ROW "
            f"BEGIN SELECT RAISE(ABORT, '{table}: {says}'){where}; END"
        )

    found = {}
    for table, keys in SEALED.items():
        same = [" AND ".join(f'"{column}" = NEW."{column}"' for column in key) for key in keys]
        there = " OR ".join(f"EXISTS (SELECT 1 FROM {table} WHERE {one})" for one in same)  # noqa: S608
        for name, when, condition in (
            (f"{table}_no_update", "UPDATE", ""),
            (f"{table}_no_delete", "DELETE", f"NOT {_ERASED}" if table == BODIES else ""),
            (f"{table}_no_replace", "INSERT", there),
        ):
            says = f"this row is there already; {_STAYS}" if when == "INSERT" else _STAYS
            found[name] = (table, refuse(name, when, table, says, condition))
    forward = "NEW.tree <> OLD.tree OR NEW.size <= OLD.size"
    begins = f"NEW.size <> 0 OR EXISTS (SELECT 1 FROM {HEAD} WHERE tree = NEW.tree)"  # noqa: S608
    for name, when, says, condition in (
        (f"{HEAD}_no_delete", "DELETE", _STAYS, ""),
        (f"{HEAD}_forward", "UPDATE", _FORWARD, forward),
        (f"{HEAD}_begins", "INSERT", _BEGINS, begins),
    ):
        found[name] = (HEAD, refuse(name, when, HEAD, says, condition))
    return found


def _made(vendor: str) -> dict[str, tuple[str, str]]:
    return _postgresql() if vendor == "postgresql" else _sqlite()


TRIGGERS = Triggers(_made, lambda: _FUNCTIONS)


def grants(role: str) -> list[str]:
    """The statements that give an application role on PostgreSQL what it needs of the ledger, no more.

    It may read and append. It may not change, delete or empty, and not switch a trigger off, since it owns
    nothing. The rights on the head's columns are what the row lock and its forward moves need.
    """
    if not re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]{0,62}", role):
        raise ValueError(f"{role!r} is not a role name: use letters, digits and underscores, up to 63")
    sealed = ", ".join(SEALED)
    return [
        f'REVOKE ALL ON {sealed}, {HEAD} FROM "{role}"',
        f'GRANT SELECT, INSERT ON {sealed}, {HEAD} TO "{role}"',
        f'GRANT UPDATE (size, root, peaks) ON {HEAD} TO "{role}"',
    ]
