"""The one way on which sealed rows go: the erasure of a student's whole record, which is itself sealed.

An entry of the kind ``record.erased`` about the student stands in the school's ledger before any row goes;
the triggers of ``sealing`` look for it. An entry's body goes only where a later ``ledger.erasure`` names it
(``triggers.ledger``). What stays: the leaves of the ledger with every proof, who looked at the record,
the holds there were, and the student's row without name and birth date.

On PostgreSQL the deletions are a function of the owner's (``SECURITY DEFINER``), so that the plain role of
web server and worker needs no right to delete anything: it may call the function, which does nothing for a
student without such an entry.
"""

from collections.abc import Iterator
from typing import Any

from django.apps import apps
from django.db import models
from django.db.backends.base.base import BaseDatabaseWrapper

#: The entry that says that a student's record was erased, and why.
KIND = "record.erased"
FUNCTION = "training_erase_record"
#: Tables about a student that stay: who looked at the record, and what kept it from being erased.
STAYS = ("AccessLog", "RetentionHold")
_TEXT = {
    "postgresql": "CAST({0} AS text)",
    "sqlite": "substr({0},1,8)||'-'||substr({0},9,4)||'-'||substr({0},13,4)||'-'||substr({0},17,4)||'-'"
    "||substr({0},21)",
}


def erased(vendor: str, student: str = "OLD.student_id") -> str:
    """The condition, in SQL, that an erasure of this very student's record stands in the school's ledger."""
    return (
        "EXISTS (SELECT 1 FROM training_student s JOIN ledger_entry e"  # noqa: S608
        f" ON e.tree = 'school-' || s.school_id AND e.subject = {_TEXT[vendor].format('s.ref')}"
        f" WHERE s.id = {student} AND e.kind = '{KIND}')"
    )


def deletions(vendor: str, student: str) -> Iterator[str]:
    """The statements that delete what is erased; ``student`` is the key, as a parameter of the statement."""
    about = []
    for model in apps.get_app_config("training").get_models():
        if model.__name__ not in STAYS and is_about_a_student(model):
            about.append(model)
    for model in apps.get_app_config("training").get_models():
        for field in model._meta.concrete_fields:
            to: Any = field.related_model
            if model not in about and model.__name__ not in ("Student", *STAYS) and to in about:
                yield (
                    f"DELETE FROM {model._meta.db_table} WHERE {field.column} IN"  # noqa: S608
                    f" (SELECT {to._meta.pk.column} FROM {to._meta.db_table} WHERE student_id = {student})"
                )
    # First what hangs on other rows, whose triggers look at these.
    about.sort(key=lambda model: sum(field.related_model in about for field in model._meta.concrete_fields))
    for model in reversed(about):
        yield f"DELETE FROM {model._meta.db_table} WHERE student_id = {student}"  # noqa: S608
    yield (
        "DELETE FROM ledger_entrybody WHERE entry_id IN (SELECT e.id FROM training_student s"  # noqa: S608
        " JOIN ledger_entry e ON e.tree = 'school-' || s.school_id"
        f" AND e.subject = {_TEXT[vendor].format('s.ref')}"
        f" WHERE s.id = {student} AND e.kind NOT IN ('{KIND}', 'ledger.erasure'))"
    )
    yield f"DELETE FROM training_stale WHERE student_id = {student}"  # noqa: S608


def is_about_a_student(model: type[models.Model]) -> bool:
    """Whether the rows of a model are each about one student."""
    fields = model._meta.concrete_fields
    return any(
        field.name == "student" and getattr(field.related_model, "__name__", "") == "Student"
        for field in fields
    )


def delete(student: int, connection: BaseDatabaseWrapper) -> None:
    """Delete what is erased of a student, in the caller's transaction.

    Raises: IntegrityError where no erasure of that student's record is sealed.
    """
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(f"SELECT {FUNCTION}(%s)", [student])
            return
        for statement in deletions(connection.vendor, "%s"):
            cursor.execute(statement, [student])


def install(connection: BaseDatabaseWrapper) -> None:
    """Put the function in place; nothing where there is none to put, or before the tables are there."""
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        there = set(connection.introspection.table_names(cursor))
        if not {model._meta.db_table for model in apps.get_app_config("training").get_models()} <= there:
            return
        body = "; ".join(deletions("postgresql", "$1"))
        cursor.execute(
            f"CREATE OR REPLACE FUNCTION {FUNCTION}(bigint) RETURNS void LANGUAGE plpgsql SECURITY DEFINER"
            f" SET search_path FROM CURRENT AS $body$ BEGIN IF NOT {erased('postgresql', '$1')}"
            " THEN RAISE EXCEPTION 'no erasure of student % is sealed', $1"
            " USING ERRCODE = 'restrict_violation'; END IF;"
            f" {body}; END $body$"
        )
