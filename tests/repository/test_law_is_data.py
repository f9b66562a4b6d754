"""No authority's law stands in Python: milestones, items and paragraphs are data of the rules' folders."""

from __future__ import annotations

import ast
import pathlib
import re
from collections.abc import Iterator

import pytest

from syllabus import rulebook

ROOT = pathlib.Path(__file__).resolve().parents[2]
PACKAGES = ("syllabus", "training", "api")
AUTHORITIES = sorted({each.partition(".")[0] for each in rulebook.current().milestones})
#: What names one authority's milestone, or a paragraph of a code of regulations.
LAW = re.compile(rf"\b(?:{'|'.join(AUTHORITIES)})\.|\b\d+ CFR")
#: How many there are; it may only go down.
MOST = 0
SOURCES = sorted(
    path
    for package in PACKAGES
    for path in (ROOT / package).rglob("*.py")
    if "migrations" not in path.relative_to(ROOT).parts
)


def law_in(source: str) -> Iterator[str]:
    """Each text of a source that names law, with its line. A docstring may cite a rule as its reason."""
    tree = ast.parse(source)
    docstrings = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    for node in ast.walk(tree):
        if not isinstance(node, ast.Constant) or not isinstance(node.value, str) or id(node) in docstrings:
            continue
        if LAW.search(node.value):
            yield f"{node.lineno}: {node.value[:80]}"


def test_no_law_stands_in_python() -> None:
    found = [
        f"{path.relative_to(ROOT)}:{each}"
        for path in SOURCES
        for each in law_in(path.read_text(encoding="utf-8"))
    ]
    assert len(SOURCES) > 300
    assert len(found) <= MOST, "move it into the data of the rules:\n" + "\n".join(found)


@pytest.mark.parametrize(
    ("source", "lines"),
    [
        pytest.param('SOLO = "faa.first-solo"', [1], id="a milestone"),
        pytest.param('def f():\n    return f"so it is (14 CFR 61.87(n)) {x}"', [2], id="a citation"),
        pytest.param('def f():\n    """A reason, 14 CFR 61.87(n)."""', [], id="a docstring"),
        pytest.param('# 14 CFR 61.87(n)\nx = "solo"', [], id="a comment"),
        pytest.param('x = "an affair. a CFR"', [], id="no law"),
    ],
)
def test_law_in_python_is_found(source: str, lines: list[int]) -> None:
    assert [int(each.partition(":")[0]) for each in law_in(source)] == lines
