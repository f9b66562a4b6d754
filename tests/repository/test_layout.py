"""The house keeps its shape: the rooms at the top, files of one purpose, nothing put off or passed over."""

import ast
import io
import pathlib
import re
import tokenize

import pytest

from tests.support.rows import over_rows

ROOT = pathlib.Path(__file__).resolve().parents[2]
ROOMS = {"training", "api", "syllabus", "tests", "fixtures", "docker"}
FILES = {"README.md", "DEVELOPERS.md", "manage.py", "pyproject.toml"}
MOST_LINES = 600

SOURCES = sorted(
    path.relative_to(ROOT)
    for top in [ROOT / "manage.py", *(ROOT / room for room in ROOMS)]
    for path in ([top] if top.is_file() else top.rglob("*.py"))
)


def test_the_top_level_is_what_it_always_is() -> None:
    found = {
        path.name for path in ROOT.iterdir() if not path.name.startswith(".") and path.name != "__pycache__"
    }
    assert found == ROOMS | FILES


@over_rows("path", [path for path in SOURCES if "migrations" not in path.parts], ids=str)
def test_a_file_can_be_read_in_one_sitting(path: pathlib.Path) -> None:
    lines = len((ROOT / path).read_text(encoding="utf-8").splitlines())
    assert lines < MOST_LINES, f"{path} has {lines} lines: split it by purpose"


def test_nobody_imports_what_another_module_keeps_to_itself() -> None:
    private = [
        f"{path}:{node.lineno}: {each.name}"
        for path in SOURCES
        if path.parts[0] in {"api", "syllabus", "training"} and "migrations" not in path.parts
        for node in ast.walk(ast.parse((ROOT / path).read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom) and node.module != "__future__"
        for each in node.names
        if each.name.startswith("_")
    ]
    assert private == []


PASSED_OVER = {
    "skip",
    "skipif",
    "skipTest",
    "skipIf",
    "skipUnless",
    "xfail",
    "importorskip",
    "expectedFailure",
}
PUT_OFF = re.compile(r"\b(TODO|FIXME|XXX|HACK|TBD|WIP)\b")
TESTED_BY = {"pytest", "mark", "unittest", "self"}


def passed_over_or_put_off(source: str) -> list[str]:
    """Each place in a source that leaves a test out or puts work off, as ``line: what``.

    A source without any such word, as nearly all are, need not be parsed.
    """
    found = []
    for node in ast.walk(ast.parse(source)) if any(word in source for word in PASSED_OVER) else ():
        if isinstance(node, ast.Attribute) and node.attr in PASSED_OVER:
            owner = (
                node.value.attr if isinstance(node.value, ast.Attribute) else getattr(node.value, "id", "")
            )
            if owner in TESTED_BY:
                found.append(f"{node.lineno}: {owner}.{node.attr}")
        if isinstance(node, ast.ImportFrom) and node.module in {"pytest", "unittest"}:
            found += [f"{node.lineno}: import {a.name}" for a in node.names if a.name in PASSED_OVER]
    for token in tokenize.generate_tokens(io.StringIO(source).readline) if PUT_OFF.search(source) else ():
        if token.type == tokenize.COMMENT and (word := PUT_OFF.search(token.string)):
            found.append(f"{token.start[0]}: {word.group()}")
    return found


@over_rows("path", SOURCES, ids=str)
def test_nothing_is_passed_over_or_put_off(path: pathlib.Path) -> None:
    assert passed_over_or_put_off((ROOT / path).read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    ("source", "found"),
    [
        pytest.param(
            "@pytest.mark.skip\ndef test(): ...", ["1: mark.skip"], id="a mark that leaves a test out"
        ),
        pytest.param(
            "def test(): pytest.xfail('later')", ["1: pytest.xfail"], id="a failure that is expected"
        ),
        pytest.param("from unittest import skipIf", ["1: import skipIf"], id="the same from another library"),
        pytest.param("x = 1  # TODO: y", ["1: TODO"], id="a comment that puts work off"),
        pytest.param("x = (  # fmt: skip\n1)", [], id="a formatter's instruction is no test left out"),
        pytest.param(
            "rows.select_for_update(skip_locked=True)", [], id="nor is a lock that is not waited for"
        ),
        pytest.param("legs.skip()", [], id="nor a method of our own"),
    ],
)
def test_what_counts_as_passed_over(source: str, found: list[str]) -> None:
    assert passed_over_or_put_off(source) == found
