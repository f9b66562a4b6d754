"""Triggers by which a student's ``version`` changes with any row of the record, whoever writes it.

What was worked out from one state of a record is kept under its version (``training.reports``), and a reading
in several queries knows by it that they saw one state (``training.record``). A writer who forgot to draw a
new version would leave old answers standing; so the database draws it. Enrolments draw it too, for with the
course come the course's own minimums; a school's own minimums, its settings that answers depend on, and the
spellings of models that it linked draw the ``rules_version`` of the school; so do its roles, for an
instructor's authority counts.
Lesson records, with their drafts and signatures, draw a ``lessons_version``: a draft changes no report.
"""

import itertools
from collections.abc import Iterator

from training.triggers.installer import Triggers
from training.triggers.sealing import ENTRIES

TABLES = (
    *ENTRIES,
    "training_landing",
    "training_recordchange",
    "training_enrolment",
    "training_coursemove",
)
LESSONS = ("training_lessonrecord", "training_signoff", "training_acknowledgement", "training_correction")
MINIMUMS = "syllabus_schoolminimum"
SCHOOLS, STUDENTS = "training_school", "training_student"
SPELLINGS = "training_modelspelling"
#: Tables of a school whose rows answers depend on: its links between models, and until when whom it knows to
#: have the authority to instruct.
OF_A_SCHOOL = (SPELLINGS, "training_role")
#: A school's settings that answers depend on.
SETTINGS = ("claims_asked", "taxi_allowance_minutes")
_RULES, _NAMED = "training_rules_changed", "training_school_named"
_SET, _OWN = "training_school_set", "training_school_own_changed"
#: For each of a student's versions the tables whose rows draw it, and PostgreSQL's function that does.
_OF_A_STUDENT = (
    (TABLES, "version", "training_record_changed"),
    (LESSONS, "lessons_version", "training_lessons_changed"),
)
#: Event, and the name under which its trigger sees the rows: as they are, or as they were.
_EVENTS = {"INSERT": "NEW", "UPDATE": "NEW", "DELETE": "OLD"}
_ROWS = {"INSERT": ("NEW",), "UPDATE": ("NEW", "OLD"), "DELETE": ("OLD",)}
#: A school that comes to a name under which minimums stand already.
_HAS = f"SELECT 1 FROM {MINIMUMS} WHERE school_ref = NEW.slug"  # noqa: S608
_DRAW = "UPDATE training_school SET rules_version = gen_random_uuid()"
_DRAW_SQLITE = "UPDATE training_school SET rules_version = lower(hex(randomblob(16)))"


def _whose(event: str, column: str) -> str:
    """Whose row it is, or was."""
    return ", ".join(f"{row}.{column}" for row in _ROWS[event])


def _made(vendor: str) -> dict[str, tuple[str, str]]:
    """The triggers of this database: name to table and definition."""
    found: dict[str, tuple[str, str]] = {}
    for tables, drawn, function in _OF_A_STUDENT:
        for table, (event, rows) in itertools.product(tables, _EVENTS.items()):
            name = f"{table}_version_{event.lower()}"
            if vendor == "postgresql":  # once for all rows of a statement
                definition = (
                    f"CREATE TRIGGER {name} AFTER {event} ON {table} REFERENCING {rows} TABLE AS changed"
                    f" FOR EACH STATEMENT EXECUTE FUNCTION {function}()"
                )
            else:
                definition = (
                    f"CREATE TRIGGER {name} AFTER {event} ON {table} FOR EACH ROW BEGIN"  # noqa: S608
                    f" UPDATE {STUDENTS} SET {drawn} = lower(hex(randomblob(16)))"
                    f" WHERE id = {rows}.student_id; END"
                )
            found[name] = (table, definition)
    for name, table, event, when, function, schools in _of_schools(vendor):
        does = f"EXECUTE FUNCTION {function}()"
        if vendor != "postgresql":
            does = f"BEGIN {_DRAW_SQLITE} WHERE {schools}; END"
        found[name] = (table, f"CREATE TRIGGER {name} AFTER {event} ON {table} FOR EACH ROW{when} {does}")
    return found


def _of_schools(vendor: str) -> Iterator[tuple[str, str, str, str, str, str]]:
    """The triggers that draw a school's ``rules_version``: name, table, event and condition, PostgreSQL's
    function, and for SQLite which schools."""
    for event in _ROWS:
        yield (
            f"{MINIMUMS}_rules_{event.lower()}", MINIMUMS, event, "", _RULES,
            f"slug IN ({_whose(event, 'school_ref')})",
        )  # fmt: skip
    # On PostgreSQL the function asks, for a trigger's condition may hold no question there.
    named = "" if vendor == "postgresql" else f" WHEN EXISTS ({_HAS})"
    for event, name in (("INSERT", "insert"), ("UPDATE OF slug", "slug")):
        yield f"{SCHOOLS}_named_{name}", SCHOOLS, event, named, _NAMED, "id = NEW.id"
    differs = "IS DISTINCT FROM" if vendor == "postgresql" else "IS NOT"
    changed = " OR ".join(f"NEW.{column} {differs} OLD.{column}" for column in SETTINGS)
    of = f"UPDATE OF {', '.join(SETTINGS)}"
    yield f"{SCHOOLS}_set", SCHOOLS, of, f" WHEN ({changed})", _SET, "id = NEW.id"
    for table, event in itertools.product(OF_A_SCHOOL, _ROWS):
        schools = f"id IN ({_whose(event, 'school_id')})"
        yield f"{table}_rules_{event.lower()}", table, event, "", _OWN, schools


def _functions() -> dict[str, str]:
    """The functions of PostgreSQL's triggers, each with its body."""
    return {
        **{
            function: f" BEGIN UPDATE {STUDENTS} SET {drawn} = gen_random_uuid()"  # noqa: S608
            " WHERE id IN (SELECT student_id FROM changed); RETURN NULL; END "
            for _, drawn, function in _OF_A_STUDENT
        },
        _RULES: _of_both("slug", "school_ref"),
        _NAMED: f" BEGIN IF EXISTS ({_HAS}) THEN {_DRAW} WHERE id = NEW.id; END IF; RETURN NULL; END ",
        _SET: f" BEGIN {_DRAW} WHERE id = NEW.id; RETURN NULL; END ",
        _OWN: _of_both("id", "school_id"),
    }


def _of_both(key: str, column: str) -> str:
    """A function's body for the school that a row is of, and for the one that it was of."""
    return (
        f" BEGIN IF TG_OP <> 'INSERT' THEN {_DRAW} WHERE {key} = OLD.{column}; END IF;"
        f" IF TG_OP <> 'DELETE' THEN {_DRAW} WHERE {key} = NEW.{column}; END IF; RETURN NULL; END "
    )


TRIGGERS = Triggers(
    _made,
    _functions,
    lambda: {STUDENTS: ("version", "lessons_version"), SCHOOLS: ("rules_version", *SETTINGS)},
    always=False,
)
