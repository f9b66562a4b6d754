"""Row-level security by school on PostgreSQL: a request is shown the rows of its person's schools alone.

It lies beneath the conditions of ``services.access`` and replaces none of them. ``services.row_scope`` says
by the setting ``training.schools`` whose rows are shown: ``all``, or the keys of schools with commas between.
A connection that never set it (of a release before, or a person at the command line) is shown all. The
policies bind the plain role of web server and worker; the owner of the tables passes them. SQLite has no such
thing.

Every table with a ``school_id`` gets its policy after each ``migrate``; ``BY_OTHER_MEANS`` are those that
name a school in another way. Accounts, their sessions and tokens, and the page cache are of no school.
"""

from django.db.backends.base.base import BaseDatabaseWrapper

SETTING, EVERY = "training.schools", "all"
#: A policy's name ends in a number that goes up with any change of its condition.
NAME = "of_its_school_1"
_SET = f"COALESCE(current_setting('{SETTING}', true), '{EVERY}')"
# As subqueries without a reference to the row, both are worked out once for a statement.
_EVERY = f"(SELECT {_SET} = '{EVERY}')"
_LISTED = f"((SELECT string_to_array(NULLIF({_SET}, '{EVERY}'), ',')::bigint[])::bigint[])"
_SLUGS, _TREES = "(SELECT slug FROM training_school)", "(SELECT 'school-' || id FROM training_school)"
#: Tables whose rows name a school otherwise than by ``school_id``, with the condition. A subquery sees by the
#: policy of its own table.
BY_OTHER_MEANS = {
    "training_school": f"id = ANY {_LISTED}",
    "syllabus_course": f"school_ref IS NULL OR school_ref IN {_SLUGS}",
    "syllabus_courseversion": "EXISTS (SELECT 1 FROM syllabus_course c WHERE c.id = course_id)",
    "syllabus_courseparts": "EXISTS (SELECT 1 FROM syllabus_courseversion v WHERE v.id = version_id)",
    "syllabus_schoolminimum": f"school_ref IN {_SLUGS}",
    "ledger_head": f"tree IN {_TREES}",
    "ledger_entry": f"tree IN {_TREES}",
    "ledger_entrybody": "EXISTS (SELECT 1 FROM ledger_entry e WHERE e.id = entry_id)",
    "ledger_node": f"tree IN {_TREES}",
    "ledger_checkpoint": f"tree IN {_TREES}",
}
_BY_SCHOOL = (
    "SELECT c.relname, NOT a.attnotnull FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid"
    " WHERE c.relkind = 'r' AND a.attname = 'school_id' AND NOT a.attisdropped AND pg_table_is_visible(c.oid)"
)
_INSTALLED = (
    "SELECT c.relname FROM pg_policy p JOIN pg_class c ON c.oid = p.polrelid"
    " WHERE p.polname = %s AND c.relrowsecurity AND pg_table_is_visible(c.oid)"
)


def wanted(connection: BaseDatabaseWrapper) -> dict[str, str]:
    """Each table that is there and has rows of schools, with the condition on a row that is shown."""
    if connection.vendor != "postgresql":
        return {}
    with connection.cursor() as cursor:
        cursor.execute(_BY_SCHOOL)
        found = {
            table: f"school_id = ANY {_LISTED}{' OR school_id IS NULL' if optional else ''}"
            for table, optional in cursor.fetchall()
        }
        there = set(connection.introspection.table_names(cursor))
    return found | {table: shown for table, shown in BY_OTHER_MEANS.items() if table in there}


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """The tables that have rows of schools and no policy in force."""
    tables = wanted(connection)
    if not tables:
        return []
    with connection.cursor() as cursor:
        cursor.execute(_INSTALLED, [NAME])
        return sorted(set(tables) - {table for (table,) in cursor.fetchall()})


def install(connection: BaseDatabaseWrapper) -> None:
    """Put the policies in place that are missing; a table that has its own is not locked."""
    tables = wanted(connection)
    with connection.cursor() as cursor:
        for table in missing(connection):
            cursor.execute("SELECT polname FROM pg_policy WHERE polrelid = %s::regclass", [table])
            for (old,) in cursor.fetchall():
                cursor.execute(f"DROP POLICY {old} ON {table}")
            cursor.execute(f"CREATE POLICY {NAME} ON {table} USING ({_EVERY} OR {tables[table]})")
            cursor.execute(f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY")
