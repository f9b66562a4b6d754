"""Triggers by which the database itself notes whose lapses are to be worked out anew.

A record's change draws a new ``version`` of its student (``versions``); that, a new student, and
another name, birth date or model put the student into ``Stale``, as other rules of a school do with all of
its students. So the sweep looks at what changed and never through all students, and no writer can forget to
tell it.
"""

from training.triggers.installer import Triggers

STUDENTS, STALE, SCHOOLS = "training_student", "training_stale", "training_school"
_NOTE, _FORGET, _NOTE_ALL = "training_student_stale", "training_student_gone", "training_school_stale"
#: What lapses depends on, besides the entries that the version stands for.
COLUMNS = ("version", "name", "birth_date", "training_model", "school_id")
_ANEW = " ON CONFLICT (student_id) DO UPDATE SET attempts = 0, parked_at = NULL, fault = ''"
_PUT = (
    f"INSERT INTO {STALE} (student_id, school_id, attempts, fault)"  # noqa: S608
    f" VALUES (NEW.id, NEW.school_id, 0, ''){_ANEW}"
)
_PUT_ALL = (
    f"INSERT INTO {STALE} (student_id, school_id, attempts, fault)"  # noqa: S608
    f" SELECT id, school_id, 0, '' FROM {STUDENTS} WHERE school_id = NEW.id{_ANEW}"
)
_TAKE = f"DELETE FROM {STALE} WHERE student_id = OLD.id"  # noqa: S608


def _functions() -> dict[str, str]:
    """The functions of PostgreSQL's triggers, each with its body."""
    return {
        _NOTE: f" BEGIN {_PUT}; RETURN NULL; END ",
        _FORGET: f" BEGIN {_TAKE}; RETURN NULL; END ",
        _NOTE_ALL: f" BEGIN {_PUT_ALL}; RETURN NULL; END ",
    }


def _made(vendor: str) -> dict[str, tuple[str, str]]:
    """The triggers of this database: name to table and definition."""
    postgresql = vendor == "postgresql"
    differs = "IS DISTINCT FROM" if postgresql else "IS NOT"
    changed = " OR ".join(f"NEW.{column} {differs} OLD.{column}" for column in COLUMNS)
    other_rules = f"NEW.rules_version {differs} OLD.rules_version"
    found: dict[str, tuple[str, str]] = {}
    for table, event, when, function, statement in (
        (STUDENTS, "INSERT", "", _NOTE, _PUT),
        (STUDENTS, "UPDATE", f" WHEN ({changed})", _NOTE, _PUT),
        (STUDENTS, "DELETE", "", _FORGET, _TAKE),
        (SCHOOLS, "UPDATE", f" WHEN ({other_rules})", _NOTE_ALL, _PUT_ALL),
    ):
        name = f"{table}_stale_{event.lower()}"
        does = f"EXECUTE FUNCTION {function}()" if postgresql else f"BEGIN {statement}; END"
        found[name] = (
            table,
            f"CREATE TRIGGER {name} AFTER {event} ON {table} FOR EACH ROW{when} {does}",
        )
    return found


TRIGGERS = Triggers(
    _made, _functions, lambda: {STUDENTS: COLUMNS, STALE: (), SCHOOLS: ("rules_version",)}, always=False
)
