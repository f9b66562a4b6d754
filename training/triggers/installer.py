"""Puts triggers in place, takes them away, and says which are not as they were made."""

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass

from django.db.backends.base.base import BaseDatabaseWrapper

#: Trigger to its table and its definition.
Made = Mapping[str, tuple[str, str]]
#: Each trigger of a database with its table and what it does, in the form of ``_wanted``.
_INSTALLED = {
    "postgresql": "SELECT t.tgname, c.relname, p.proname, t.tgenabled, p.prosrc FROM pg_trigger t"
    " JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_proc p ON p.oid = t.tgfoid"
    " WHERE NOT t.tgisinternal AND pg_table_is_visible(c.oid)",
    "sqlite": "SELECT name, tbl_name, sql FROM sqlite_master WHERE type = 'trigger'",
}


@dataclass(frozen=True)
class Triggers:
    """Triggers that belong together.

    ``made`` gives those of a vendor, ``functions`` PostgreSQL's functions with their bodies. ``columns`` are
    those that must be there, besides the triggers' tables, before they can be put in place. ``always``: on
    PostgreSQL ``session_replication_role`` does not lift them.
    """

    made: Callable[[str], Made]
    functions: Callable[[], Mapping[str, str]]
    columns: Callable[[], Mapping[str, Collection[str]]] = dict
    always: bool = True

    def on(self, connection: BaseDatabaseWrapper) -> Made:
        """Those of this database. Raises: NotImplementedError on neither PostgreSQL nor SQLite."""
        if connection.vendor not in ("postgresql", "sqlite"):
            raise NotImplementedError(f"No triggers for {connection.vendor}; use PostgreSQL or SQLite.")
        return self.made(connection.vendor)

    def install(self, connection: BaseDatabaseWrapper) -> None:
        """Put the triggers in place, in the place of those there are; nothing before the tables are there."""
        if not self._ready(connection):
            return
        self.remove(connection)
        with connection.cursor() as cursor:
            if connection.vendor == "postgresql":
                for name, source in self.functions().items():
                    create = f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql"
                    cursor.execute(f"{create} AS $body${source}$body$")
            for name, (table, definition) in self.on(connection).items():
                cursor.execute(definition)
                if self.always and connection.vendor == "postgresql":
                    cursor.execute(f"ALTER TABLE {table} ENABLE ALWAYS TRIGGER {name}")

    def remove(self, connection: BaseDatabaseWrapper) -> None:
        """Take the triggers away, as only the owner of the tables can."""
        with connection.cursor() as cursor:
            there = set(connection.introspection.table_names(cursor))
            for name, (table, _) in self.on(connection).items():
                if table in there:
                    on = f" ON {table}" if connection.vendor == "postgresql" else ""
                    cursor.execute(f"DROP TRIGGER IF EXISTS {name}{on}")

    def _ready(self, connection: BaseDatabaseWrapper) -> bool:
        columns = self.columns()
        with connection.cursor() as cursor:
            there = set(connection.introspection.table_names(cursor))
            if not {*columns, *(table for table, _ in self.on(connection).values())} <= there:
                return False
            for table, wanted in columns.items():
                # Not Django's introspection: on SQLite it parses the table's SQL anew, for its collations.
                cursor.execute(f"SELECT * FROM {table} LIMIT 0")  # noqa: S608
                if not set(wanted) <= {column[0] for column in cursor.description}:
                    return False
        return True


def missing(connection: BaseDatabaseWrapper, sets: Iterable[Triggers]) -> list[str]:
    """The names of the triggers that are not there, stand elsewhere, are switched off or do something else.

    One query. Raises: ``DatabaseError`` where the tables cannot be asked about.
    """
    with connection.cursor() as cursor:
        cursor.execute(_INSTALLED[connection.vendor])
        installed = {name: tuple(rest) for name, *rest in cursor.fetchall()}
    return sorted(
        name
        for each in sets
        for name, wanted in _wanted(each, connection).items()
        if installed.get(name) not in wanted
    )


def _wanted(triggers: Triggers, connection: BaseDatabaseWrapper) -> dict[str, list[tuple[str, ...]]]:
    """Of each trigger what the database may say of it."""
    made = triggers.on(connection)
    if connection.vendor == "sqlite":
        return {name: [each] for name, each in made.items()}
    functions = triggers.functions()
    found: dict[str, list[tuple[str, ...]]] = {}
    for name, (table, definition) in made.items():
        function = definition.rpartition(" FUNCTION ")[2].removesuffix("()")
        # A fires always, O unless session_replication_role says replica.
        states = "A" if triggers.always else "AO"
        found[name] = [(table, function, state, functions[function]) for state in states]
    return found
