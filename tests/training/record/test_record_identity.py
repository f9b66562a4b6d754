"""What is stored comes back as it was, whatever a record document can say."""

import dataclasses
import datetime as dt

import pytest
from hypothesis import HealthCheck, given, settings

from syllabus.engine.record import document
from syllabus.engine.record import record as engine
from tests.support import any_record, factories
from tests.support.extent import count
from training import models, record

NOON = factories.NOON
some = settings(
    max_examples=count(15, 60),
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
few = settings(some, max_examples=count(5, 20))


@some
@given(any_record.records())
def test_the_strategy_makes_what_a_document_can_say(any_of_them):
    assert document.parse(document.dump(any_of_them)) == any_of_them


@pytest.mark.django_db
@some
@given(any_record.records())
def test_a_stored_record_comes_back_the_same(any_of_them):
    student = factories.student()

    record.store(student, any_of_them, by=None, at=NOON)
    back = record.of(models.Student.objects.get(pk=student.pk))

    assert back == any_of_them
    # Equal instants may differ in their offset, which the document shows.
    assert document.dump(back) == document.dump(any_of_them)


def unsaid(found: engine.Record) -> engine.Record:
    """The record with no word about when its entries were written down."""
    return dataclasses.replace(
        found,
        **{
            part: tuple(dataclasses.replace(each, recorded=None) for each in getattr(found, part))
            for part in found.PARTS
        },
    )


@pytest.mark.django_db
@few
@given(any_record.records(), any_record.records())
def test_a_record_that_replaces_another_comes_back_the_same_and_so_does_the_other_as_known_before(
    first, second
):
    first = unsaid(first)
    student = factories.student()

    record.store(student, first, by=None, at=NOON)
    record.store(student, second, by=None, at=NOON + dt.timedelta(days=1))

    assert document.dump(record.of(student)) == document.dump(second)
    # What the successors say of themselves may be earlier still: an id that stood already stood as it was.
    then = unsaid(record.of(student, known_at=NOON))
    for part in first.PARTS:
        known = {each.id: each for each in getattr(then, part)}
        assert {each.id: known[each.id] for each in getattr(first, part)} == {
            each.id: each for each in getattr(first, part)
        }
