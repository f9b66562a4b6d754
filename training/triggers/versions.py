"""Triggers by which a student's ``version`` changes with any row of the record, whoever writes it.

What was worked out from one state of a record is kept under its version (``training.reports``), and a reading
in several queries knows by it that they saw one state (``training.record``). A writer who forgot to draw a
new version would leave old answers standing; so the database draws it. Enrolments draw it too, for with the
course come the course's own minimums; a school's own minimums, its settings that answers depend on, and the
spellings of models that it linked draw the ``rules_version`` of the school; so do its roles, for an
instructor's authority counts.
Lesson records, with their drafts and signatures, draw a ``lessons_version``: a draft changes no report.
"""

from __future__ import annotations

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
#: A school that comes to a name under which minimums stand already.
_HAS = f"SELECT 1 FROM {MINIMUMS} WHERE school_ref = NEW.slug"  # noqa: S608
#: Whose row it is, or was.
_OWNED_BY = {
    "INSERT": "NEW.school_id",
    "UPDATE": "NEW.school_id, OLD.school_id",
    "DELETE": "OLD.school_id",
}
#: Whose minimum it is, or was.
_OF = {
    "INSERT": "NEW.school_ref",
    "UPDATE": "NEW.school_ref, OLD.school_ref",
    "DELETE": "OLD.school_ref",
}


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
    for event in _EVENTS:
        name = f"{MINIMUMS}_rules_{event.lower()}"
        if vendor == "postgresql":
            does = f"EXECUTE FUNCTION {_RULES}()"
        else:
            does = (
                "BEGIN UPDATE training_school SET rules_version = lower(hex(randomblob(16)))"  # noqa: S608
                f" WHERE slug IN ({_OF[event]}); END"
            )
        found[name] = (MINIMUMS, f"CREATE TRIGGER {name} AFTER {event} ON {MINIMUMS} FOR EACH ROW {does}")
    for event, name in (("INSERT", "insert"), ("UPDATE OF slug", "slug")):
        name = f"{SCHOOLS}_named_{name}"
        if vendor == "postgresql":
            does = f"EXECUTE FUNCTION {_NAMED}()"
        else:
            does = (
                f"WHEN EXISTS ({_HAS}) BEGIN UPDATE training_school"  # noqa: S608
                " SET rules_version = lower(hex(randomblob(16))) WHERE id = NEW.id; END"
            )
        found[name] = (SCHOOLS, f"CREATE TRIGGER {name} AFTER {event} ON {SCHOOLS} FOR EACH ROW {does}")
    found |= dict(_of_settings(vendor))
    return found


def _of_settings(vendor: str) -> Iterator[tuple[str, tuple[str, str]]]:
    """The triggers of what a school sets, and of its own rows that answers depend on."""
    postgresql = vendor == "postgresql"
    drawn = "UPDATE training_school SET rules_version = lower(hex(randomblob(16)))"
    differs = "IS DISTINCT FROM" if postgresql else "IS NOT"
    changed = " OR ".join(f"NEW.{column} {differs} OLD.{column}" for column in SETTINGS)
    does = f"EXECUTE FUNCTION {_SET}()" if postgresql else f"BEGIN {drawn} WHERE id = NEW.id; END"
    name = f"{SCHOOLS}_set"
    yield (
        name,
        (
            SCHOOLS,
            f"CREATE TRIGGER {name} AFTER UPDATE OF {', '.join(SETTINGS)} ON {SCHOOLS} FOR EACH ROW"
            f" WHEN ({changed}) {does}",
        ),
    )
    for table, (event, schools) in itertools.product(OF_A_SCHOOL, _OWNED_BY.items()):
        name = f"{table}_rules_{event.lower()}"
        does = f"BEGIN {drawn} WHERE id IN ({schools}); END"
        if postgresql:
            does = f"EXECUTE FUNCTION {_OWN}()"
        yield name, (table, f"CREATE TRIGGER {name} AFTER {event} ON {table} FOR EACH ROW {does}")


def _functions() -> dict[str, str]:
    """The functions of PostgreSQL's triggers, each with its body."""
    return {
        **{
            function: f" BEGIN UPDATE {STUDENTS} SET {drawn} = gen_random_uuid()"  # noqa: S608
            " WHERE id IN (SELECT student_id FROM changed); RETURN NULL; END "
            for _, drawn, function in _OF_A_STUDENT
        },
        _RULES: " BEGIN"
        " IF TG_OP <> 'INSERT' THEN UPDATE training_school SET rules_version = gen_random_uuid()"
        " WHERE slug = OLD.school_ref; END IF;"
        " IF TG_OP <> 'DELETE' THEN UPDATE training_school SET rules_version = gen_random_uuid()"
        " WHERE slug = NEW.school_ref; END IF;"
        " RETURN NULL; END ",
        _NAMED: f" BEGIN IF EXISTS ({_HAS}) THEN UPDATE training_school"  # noqa: S608
        " SET rules_version = gen_random_uuid() WHERE id = NEW.id; END IF; RETURN NULL; END ",
        _SET: " BEGIN UPDATE training_school SET rules_version = gen_random_uuid() WHERE id = NEW.id;"
        " RETURN NULL; END ",
        _OWN: " BEGIN"
        " IF TG_OP <> 'INSERT' THEN UPDATE training_school SET rules_version = gen_random_uuid()"
        " WHERE id = OLD.school_id; END IF;"
        " IF TG_OP <> 'DELETE' THEN UPDATE training_school SET rules_version = gen_random_uuid()"
        " WHERE id = NEW.school_id; END IF;"
        " RETURN NULL; END ",
    }


TRIGGERS = Triggers(
    _made,
    _functions,
    lambda: {STUDENTS: ("version", "lessons_version"), SCHOOLS: ("rules_version", *SETTINGS)},
    always=False,
)
