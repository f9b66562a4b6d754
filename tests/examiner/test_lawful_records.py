"""Every lawful, complete record is met, each requirement of it, and nothing is asked."""

from collections.abc import Callable
from functools import cache

from tests.examiner.asking import NULL, TRUE, Question, ask, findings
from tests.examiner.lawful import HOW_MANY, generated
from tests.support.rows import over_rows


@cache
def lawful() -> tuple[Question, ...]:
    return tuple(generated())


def test_there_are_enough_records_and_none_is_asked_twice() -> None:
    assert len(lawful()) == sum(HOW_MANY.values()) >= 200
    assert len({str(each.document) + str(each.context) for each in lawful()}) == len(lawful())


@over_rows("question", lawful, ids=lambda question: question.id)
def test_a_lawful_record_is_met_without_a_question(
    question: Question, record_property: Callable[[str, object], None]
) -> None:
    answer = ask(question)
    needless = answer.word == NULL or bool(answer.asked)
    outcome = "needless question" if needless else "met" if answer.word == TRUE else "wrong no"
    record_property("lawful", outcome)
    assert answer.word == TRUE, f"{question.on} {question.context}\n{answer}"
    assert not answer.asked
    assert all(each["met"] is True for each in findings(answer.report["requirements"]))
