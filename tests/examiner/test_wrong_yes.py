"""A small change to a lawful record gets the answer that the paragraph gives, and never a wrong yes."""

from collections import Counter
from collections.abc import Callable

from tests.examiner.asking import TRUE, Question, ask
from tests.examiner.changing import NOT_TRUE, Case, bases, cases
from tests.support.rows import over_rows


def test_there_are_enough_cases_each_with_its_own_name() -> None:
    assert sum(case.expect != TRUE for case in cases()) >= 150
    assert [name for name, many in Counter(case.id for case in cases()).items() if many > 1] == []


@over_rows(("name", "question"), bases, ids=lambda row: row[0])
def test_the_record_before_the_change_is_met(name: str, question: Question) -> None:
    answer = ask(question)
    assert answer.word == TRUE, str(answer)
    assert not answer.asked


@over_rows("case", cases, ids=lambda case: case.id)
def test_a_changed_record(case: Case, record_property: Callable[[str, object], None]) -> None:
    answer = ask(case.question)
    right = answer.word != TRUE if case.expect == NOT_TRUE else answer.word == case.expect
    wrong = "wrong yes" if answer.word == TRUE else "another answer than expected"
    record_property("changed", "as expected" if right else wrong)
    assert right, f"expected {case.expect} by {case.row['law']}, answered {answer}"
