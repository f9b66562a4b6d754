"""Nobody reads an answer of the engine back out of its words: no regular expressions where it is shown."""

from __future__ import annotations

import ast
import pathlib

import pytest

ROOT = pathlib.Path(__file__).parents[2]
#: What puts answers of the engine into words, tables and charts for people.
SHOWING = sorted(
    [
        *(ROOT / "training" / "presenters").glob("*.py"),
        *(ROOT / "training" / "reports").glob("*.py"),
        *(
            ROOT / "training" / name
            for name in (
                "management/eligibility_table.py",
                "services/endorsements/endorsement_check.py",
                "web/student/charts.py",
                "web/shared/plain_words.py",
                "web/student/page_cache.py",
                "web/shared/report_presenter.py",
                "web/student/pages.py",
                "web/student/presenter.py",
                "web/shared/status_changes.py",
                "web/instructor/endorsing.py",
                "web/instructor/lessons.py",
                "web/instructor/today.py",
            )
        ),
    ]
)


@pytest.mark.parametrize("path", SHOWING, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_answer_is_read_back_out_of_its_words(path: pathlib.Path) -> None:
    assert not {"re", "regex"} & imported(path.read_text(encoding="utf-8"))


def imported(source: str) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found.update(each.name for each in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
    return found


def test_an_import_is_found_wherever_it_is() -> None:
    assert imported("def f():\n    import re as r\nfrom regex import sub") == {"re", "regex"}
