"""Every lock of a row is the weakest that serves, of the row itself: see ``training/database.py``."""

import ast
import pathlib

import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]
JOINS = {"select_related"}


def too_strong(source: str) -> list[str]:
    """Each lock of a source that blocks foreign keys, or that takes the rows of a join with it."""
    found = []
    tree = ast.parse(source)
    for node in ast.walk(tree):
        if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)):
            continue
        if node.func.attr == "select_for_update":
            given = {each.arg: each.value for each in node.keywords}
            if not (isinstance(given.get("no_key"), ast.Constant) and given["no_key"].value is True):
                found.append(f"{node.lineno}: blocks every row that refers to it; add no_key=True")
    for statement in ast.walk(tree):
        if isinstance(statement, ast.stmt) and not hasattr(statement, "body"):
            calls = [each for each in ast.walk(statement) if isinstance(each, ast.Call)]
            names = {each.func.attr: each for each in calls if isinstance(each.func, ast.Attribute)}
            lock = names.get("select_for_update")
            if lock and JOINS & set(names) and "of" not in {each.arg for each in lock.keywords}:
                found.append(f"{lock.lineno}: locks what it joins; add of=")
    return found


def test_every_lock_is_the_weakest_that_serves() -> None:
    sources = [path for room in ("api", "syllabus", "training") for path in (ROOT / room).rglob("*.py")]
    found = {
        str(path.relative_to(ROOT)): wrong
        for path in sources
        if (wrong := too_strong(path.read_text(encoding="utf-8")))
    }
    assert found == {}
    assert sum("select_for_update(" in path.read_text(encoding="utf-8") for path in sources) > 20


@pytest.mark.parametrize(
    ("source", "found"),
    [
        pytest.param("rows.select_for_update()", "blocks every row", id="a lock for deleting"),
        pytest.param("rows.select_for_update(no_key=False)", "blocks every row", id="the same, spelt out"),
        pytest.param(
            "rows.select_for_update(no_key=True).select_related('school')", "locks what it joins", id="a join"
        ),
    ],
)
def test_what_is_too_strong(source: str, found: str) -> None:
    assert [each for each in too_strong(source) if found in each]
