"""The engine answers with codes and values, and nobody reads an answer back out of its words."""

from __future__ import annotations

import ast
import datetime as dt
import pathlib

from syllabus.engine.record import record as engine
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.rules.question import READERS
from syllabus.engine.rules.reason_words import REASONS
from syllabus.law import rulebook
from tests.support.rows import over_rows
from tests.syllabus.engine.test_next_lesson import asked, course, item, lesson
from training.reports.overview import Gap
from training.reports.progress import next_json

TODAY = dt.date(2026, 3, 2)
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
                "web/student/course.py",
                "web/student/gaps.py",
                "web/student/hours.py",
                "web/student/rules.py",
                "web/shared/status_changes.py",
                "web/instructor/endorsing.py",
                "web/instructor/lessons.py",
                "web/instructor/today.py",
            )
        ),
    ]
)


@over_rows("path", SHOWING, ids=lambda path: str(path.relative_to(ROOT)))
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


def test_no_question_begins_with_the_key_of_a_request() -> None:
    """A program has the code; a person is asked in words alone."""
    assert [code for code, words in REASONS.items() if words.partition(":")[0] in READERS] == []


@over_rows("path", sorted((ROOT / "syllabus").rglob("*.py")), ids=lambda path: str(path.relative_to(ROOT)))
def test_the_engine_refuses_and_proves_with_reasons(path: pathlib.Path) -> None:
    assert sentences(path.read_text(encoding="utf-8")) == []


def sentences(source: str) -> list[str]:
    """The texts that are put together where a reason is due: of a refusal, of a proof."""
    due = [
        each
        for call in ast.walk(ast.parse(source))
        if isinstance(call, ast.Call)
        for each in (
            *(call.args if isinstance(call.func, ast.Name) and call.func.id == "NotCovered" else ()),
            *(each.value for each in call.keywords if each.arg == "remarks"),
        )
    ]
    return [ast.unparse(each) for each in due if isinstance(each, ast.JoinedStr)]


def test_a_gap_is_a_code_and_values_until_it_is_shown() -> None:
    record = engine.Record(student=engine.Student(name="Sam Example"))
    report = evaluate(rulebook.current(), record, "faa.private-practical-test", TODAY)
    gaps = {each.rule.id: Gap(each, each.met(TODAY)) for each in report.findings if not each.met(TODAY)}

    for gap in gaps.values():
        rule, ids = gap.finding.rule, {entry for entry, _ in gap.finding.ask}
        said = {each for each in gap.reason.values() if isinstance(each, str)}
        assert said <= {rule.says, rule.cite.section, *ids}
    assert {each.reason.code for each in gaps.values()} == {"gap.remaining", "gap.unknown"}


def test_what_blocks_a_lesson_is_a_code_and_values_until_it_is_shown() -> None:
    items = (item("turns"), item("stalls", "turns"))
    outline = course(lesson("1", "turns practice"), lesson("2", "stalls practice"), items=items)
    found = next_json(asked(outline), lambda why: f"<{why.code}>")

    assert [each["why"] for each in found["blocked"]] == [
        [
            {
                "kind": "blocked",
                "code": "lesson.prerequisite-not-graded",
                "words": "<lesson.prerequisite-not-graded>",
            }
        ]
    ]


def test_a_sentence_is_found_where_a_reason_is_due() -> None:
    assert sentences("NotCovered(name, key, said, f'{name} has none')\nItem(remarks=f'rests on {it}')") == [
        "f'{name} has none'",
        "f'rests on {it}'",
    ]
