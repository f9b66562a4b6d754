"""No authority's law is in Python or a template: milestones, items and paragraphs are data of the rules."""

from __future__ import annotations

import ast
import pathlib
import re
from collections.abc import Iterator

import pytest

from syllabus.law import rulebook

ROOT = pathlib.Path(__file__).resolve().parents[2]
PACKAGES = ("syllabus", "training", "api")
AUTHORITIES = sorted({each.partition(".")[0] for each in rulebook.current().milestones})
#: What names one authority's milestone, or a paragraph of a code of regulations.
LAW = re.compile(rf"\b(?:{'|'.join(AUTHORITIES)})\.|\b\d+ CFR")
#: The same in running text, where a line may end anywhere.
IN_TEXT = re.compile(LAW.pattern.replace(" CFR", r"\s+CFR"))
#: How many there are; it may only go down.
MOST = 0
SOURCES = sorted(
    path
    for package in PACKAGES
    for path in (ROOT / package).rglob("*.py")
    if "migrations" not in path.relative_to(ROOT).parts
)
TEMPLATES = sorted(
    path
    for package in PACKAGES
    for suffix in ("html", "txt", "typ", "js")
    for path in (ROOT / package).rglob(f"*.{suffix}")
)
#: What a reader of a template's source sees and a reader of the page does not.
REMARK = re.compile(r"\{#.*?#\}|\{% comment .*?%\}.*?\{% endcomment %\}|<!--.*?-->|/\*.*?\*/", re.DOTALL)


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


def law_in_template(source: str) -> list[str]:
    """Each line of a template or script that names law, remarks aside; a blank is as good as a line's end."""
    text = REMARK.sub(lambda found: "\n" * found[0].count("\n"), source)
    return [f"{text.count(chr(10), 0, found.start()) + 1}: {found[0]}" for found in IN_TEXT.finditer(text)]


def test_no_law_is_in_a_template() -> None:
    found = [
        f"{path.relative_to(ROOT)}:{each}"
        for path in TEMPLATES
        for each in law_in_template(path.read_text(encoding="utf-8"))
    ]
    assert len(TEMPLATES) > 100
    assert not found, "cite it by its rule:\n" + "\n".join(found)


@pytest.mark.parametrize(
    ("source", "lines"),
    [
        pytest.param("<p>\n{% translate 'Night (14 CFR 1.1)' %}</p>", [2], id="a citation"),
        pytest.param("<small>14 CFR\n61.197</small>", [1], id="over two lines"),
        pytest.param('{% if id == "faa.first-solo" %}', [1], id="a milestone"),
        pytest.param("{# 14 CFR 1.1 #}\n<p>{{ section }}</p>", [], id="a remark"),
    ],
)
def test_law_in_a_template_is_found(source: str, lines: list[int]) -> None:
    assert [int(each.partition(":")[0]) for each in law_in_template(source)] == lines


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
