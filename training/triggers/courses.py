"""Triggers by which the database itself keeps a published version as it is, whoever writes.

The parts of a published version are never added, changed or deleted, the version itself moves only from draft
to published, and its course keeps its code and its school. Whoever owns the tables can lift them: the content
hash then no longer fits.
"""

from collections.abc import Iterator

from training.triggers.installer import Triggers

TRUNCATE_FUNCTION = "syllabus_published_kept"
_PARTS, _VERSION, _COURSE = TABLES = ("syllabus_courseparts", "syllabus_courseversion", "syllabus_course")
_SAYS = "belongs to a published course version, which stays as it is"
_RAISE = f"RAISE EXCEPTION 'a row of % {_SAYS}', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';"
_ANY = f"SELECT 1 FROM {_VERSION} WHERE state = 'published'"  # noqa: S608

#: Trigger to its table, its events and the condition on which it refuses: a version begins as a draft.
_WHOLE = {
    f"{_VERSION}_begins": (_VERSION, ("INSERT",), "NEW.state = 'published'"),
    f"{_VERSION}_stays": (_VERSION, ("UPDATE", "DELETE"), "OLD.state = 'published'"),
    f"{_COURSE}_stays": (_COURSE, ("UPDATE", "DELETE"), f"EXISTS ({_ANY} AND course_id = OLD.id)"),
}


def _postgresql() -> Iterator[tuple[str, tuple[str, str]]]:
    yield _made(f"{_PARTS}_stays", _PARTS, "BEFORE INSERT OR UPDATE OR DELETE", "ROW")
    for name, (table, events, _) in _WHOLE.items():
        yield _made(name, table, f"BEFORE {' OR '.join(events)}", "ROW")
    for table in TABLES:
        yield _made(f"{table}_kept", table, "BEFORE TRUNCATE", "STATEMENT", TRUNCATE_FUNCTION)


def _made(name: str, table: str, when: str, each: str, function: str = "") -> tuple[str, tuple[str, str]]:
    call = f"EXECUTE FUNCTION {function or name}()"
    return name, (table, f"CREATE TRIGGER {name} {when} ON {table} FOR EACH {each} {call}")


def _functions() -> dict[str, str]:
    """The functions of PostgreSQL's triggers, each with its body.

    Of a row of parts the version is locked for sharing: a version that is just being published is waited for,
    and its publishing waits for parts that are just being changed.
    """
    of_parts = f"""
DECLARE
  concerned bigint[];
BEGIN
  IF TG_OP <> 'INSERT' THEN concerned := concerned || OLD.version_id; END IF;
  IF TG_OP <> 'DELETE' THEN concerned := concerned || NEW.version_id; END IF;
  PERFORM 1 FROM {_VERSION} WHERE id = ANY(concerned) ORDER BY id FOR SHARE;
  IF EXISTS ({_ANY} AND id = ANY(concerned)) THEN
    {_RAISE}
  END IF;
  RETURN COALESCE(NEW, OLD);
END"""
    found = {f"{_PARTS}_stays": of_parts}
    for name, (_, _, condition) in _WHOLE.items():
        found[name] = (
            f"\nBEGIN\n  IF {condition} THEN\n    {_RAISE}\n  END IF;\n  RETURN COALESCE(NEW, OLD);\nEND"
        )
    # To empty tables in which nothing is published takes nothing away; a test runner does it between tests.
    found[TRUNCATE_FUNCTION] = (
        f"\nBEGIN\n  IF EXISTS ({_ANY}) THEN\n    {_RAISE}\n  END IF;\n  RETURN NULL;\nEND"
    )
    return found


def _sqlite() -> Iterator[tuple[str, tuple[str, str]]]:
    """Those on INSERT are also against ``INSERT OR REPLACE``, which deletes without firing the others."""
    rows = {
        "INSERT": "NEW.version_id",
        "UPDATE": "OLD.version_id, NEW.version_id",
        "DELETE": "OLD.version_id",
    }
    for event, concerned in rows.items():
        yield _before(
            f"{_PARTS}_stays_{event.lower()}", event, _PARTS, f"EXISTS ({_ANY} AND id IN ({concerned}))"
        )
    for name, (table, events, condition) in _WHOLE.items():
        for event in events:
            yield _before(f"{name}_{event.lower()}", event, table, condition)
    same = "id = NEW.id OR (course_id = NEW.course_id AND number = NEW.number)"
    yield _before(f"{_VERSION}_no_replace", "INSERT", _VERSION, f"EXISTS ({_ANY} AND ({same}))")
    mine = "id = NEW.id OR (code = NEW.code AND school_ref IS NEW.school_ref)"
    courses = f"SELECT id FROM {_COURSE} WHERE {mine}"  # noqa: S608
    yield _before(f"{_COURSE}_no_replace", "INSERT", _COURSE, f"EXISTS ({_ANY} AND course_id IN ({courses}))")


def _before(name: str, event: str, table: str, condition: str) -> tuple[str, tuple[str, str]]:
    refuse = f"SELECT RAISE(ABORT, 'a row of {table} {_SAYS}')"
    return name, (
        table,
        f"CREATE TRIGGER {name} BEFORE {event} ON {table} FOR EACH ROW WHEN {condition} BEGIN {refuse}; END",
    )


TRIGGERS = Triggers(lambda vendor: dict(_postgresql() if vendor == "postgresql" else _sqlite()), _functions)
