"""Triggers by which the database itself keeps a published version as it is, whoever writes.

No row of a published version is added, changed or deleted, the version itself moves only from draft to
published, and its course keeps its code and its school. Whoever owns the tables can lift them: the content
hash then no longer fits.
"""

from __future__ import annotations

from collections.abc import Iterator

from training.triggers.installer import Triggers

TRUNCATE_FUNCTION = "syllabus_published_kept"
_VERSION = "syllabus_courseversion"
_COURSE = "syllabus_course"
_SAYS = "belongs to a published course version, which stays as it is"
_RAISE = f"RAISE EXCEPTION 'a row of % {_SAYS}', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';"


#: Each table with the SQL that gives the version of one of its rows.
_OF_ITEM = "(SELECT version_id FROM syllabus_item WHERE id = {}.item_id)"
_OF_STAGE = "(SELECT version_id FROM syllabus_stage WHERE id = {}.stage_id)"
_OF_LESSON = (
    "(SELECT version_id FROM syllabus_stage WHERE id ="
    " (SELECT stage_id FROM syllabus_lesson WHERE id = {}.lesson_id))"
)
TABLES = {
    "syllabus_stage": "{}.version_id",
    "syllabus_courseminimum": "{}.version_id",
    "syllabus_item": "{}.version_id",
    "syllabus_standardtolerance": _OF_ITEM,
    "syllabus_prerequisite": _OF_ITEM,
    "syllabus_proof": _OF_ITEM,
    "syllabus_lesson": _OF_STAGE,
    "syllabus_lessonitem": _OF_LESSON,
}
_EVENTS = {"INSERT": ("NEW",), "UPDATE": ("OLD", "NEW"), "DELETE": ("OLD",)}
#: The version itself begins as a draft; the course of a published one keeps its code and its school.
_BEGINS = "NEW.state = 'published'"
_PUBLISHED = "OLD.state = 'published'"
_OF_COURSE = f"EXISTS (SELECT 1 FROM {_VERSION} WHERE course_id = OLD.id AND state = 'published')"  # noqa: S608
#: Trigger to its table, its events and the condition on which it refuses.
_WHOLE = {
    f"{_VERSION}_begins": (_VERSION, ("INSERT",), _BEGINS),
    f"{_VERSION}_stays": (_VERSION, ("UPDATE", "DELETE"), _PUBLISHED),
    f"{_COURSE}_stays": (_COURSE, ("UPDATE", "DELETE"), _OF_COURSE),
}


def _postgresql() -> Iterator[tuple[str, tuple[str, str]]]:
    for table in TABLES:
        yield _made(f"{table}_stays", table, "BEFORE INSERT OR UPDATE OR DELETE", "ROW")
    for name, (table, events, _) in _WHOLE.items():
        yield _made(name, table, f"BEFORE {' OR '.join(events)}", "ROW")
    for table in (*TABLES, _VERSION, _COURSE):
        yield _made(f"{table}_kept", table, "BEFORE TRUNCATE", "STATEMENT", TRUNCATE_FUNCTION)


def _made(name: str, table: str, when: str, each: str, function: str = "") -> tuple[str, tuple[str, str]]:
    call = f"EXECUTE FUNCTION {function or name}()"
    return name, (table, f"CREATE TRIGGER {name} {when} ON {table} FOR EACH {each} {call}")


def _functions() -> dict[str, str]:
    """The functions of PostgreSQL's triggers, each with its body.

    A row is looked up with its version locked for sharing: a version that is just being published is waited
    for, and its publishing waits for a row that is just being changed.
    """
    found = {}
    for table, version in TABLES.items():
        old, new = version.format("OLD"), version.format("NEW")
        found[f"{table}_stays"] = f"""
DECLARE
  concerned bigint[];
BEGIN
  IF TG_OP <> 'INSERT' THEN concerned := concerned || {old}; END IF;
  IF TG_OP <> 'DELETE' THEN concerned := concerned || {new}; END IF;
  PERFORM 1 FROM {_VERSION} WHERE id = ANY(concerned) ORDER BY id FOR SHARE;
  IF EXISTS (SELECT 1 FROM {_VERSION} WHERE id = ANY(concerned) AND state = 'published') THEN
    {_RAISE}
  END IF;
  RETURN COALESCE(NEW, OLD);
END"""  # noqa: S608
    for name, (_, _, condition) in _WHOLE.items():
        found[name] = (
            f"\nBEGIN\n  IF {condition} THEN\n    {_RAISE}\n  END IF;\n  RETURN COALESCE(NEW, OLD);\nEND"
        )
    # To empty tables in which nothing is published takes nothing away; a test runner does it between tests.
    published = f"EXISTS (SELECT 1 FROM {_VERSION} WHERE state = 'published')"  # noqa: S608
    found[TRUNCATE_FUNCTION] = f"\nBEGIN\n  IF {published} THEN\n    {_RAISE}\n  END IF;\n  RETURN NULL;\nEND"
    return found


def _sqlite() -> Iterator[tuple[str, tuple[str, str]]]:
    """Those on INSERT are also against ``INSERT OR REPLACE``, which deletes without firing the others."""
    published = f"EXISTS (SELECT 1 FROM {_VERSION} WHERE state = 'published' AND id = {{}})"  # noqa: S608
    for table, version in TABLES.items():
        for event, rows in _EVENTS.items():
            conditions = [published.format(version.format(row)) for row in rows]
            if event == "INSERT":
                of_that = version.format("there")
                conditions.append(
                    f"EXISTS (SELECT 1 FROM {table} AS there WHERE there.id = NEW.id"  # noqa: S608
                    f" AND {published.format(of_that)})"
                )
            yield _before(f"{table}_stays_{event.lower()}", event, table, " OR ".join(conditions))
    for name, (table, events, condition) in _WHOLE.items():
        for event in events:
            yield _before(f"{name}_{event.lower()}", event, table, condition)
    same = "id = NEW.id OR (course_id = NEW.course_id AND number = NEW.number)"
    there = f"EXISTS (SELECT 1 FROM {_VERSION} WHERE state = 'published' AND ({same}))"  # noqa: S608
    yield _before(f"{_VERSION}_no_replace", "INSERT", _VERSION, there)
    mine = "id = NEW.id OR (code = NEW.code AND school_ref IS NEW.school_ref)"
    courses = f"SELECT id FROM {_COURSE} WHERE {mine}"  # noqa: S608
    there = f"EXISTS (SELECT 1 FROM {_VERSION} WHERE state = 'published' AND course_id IN ({courses}))"  # noqa: S608
    yield _before(f"{_COURSE}_no_replace", "INSERT", _COURSE, there)


def _before(name: str, event: str, table: str, condition: str) -> tuple[str, tuple[str, str]]:
    refuse = f"SELECT RAISE(ABORT, 'a row of {table} {_SAYS}')"
    return name, (
        table,
        f"CREATE TRIGGER {name} BEFORE {event} ON {table} FOR EACH ROW WHEN {condition} BEGIN {refuse}; END",
    )


TRIGGERS = Triggers(lambda vendor: dict(_postgresql() if vendor == "postgresql" else _sqlite()), _functions)
