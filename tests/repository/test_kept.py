"""What a fixture stored once is as it was made for every test, and is gone for those that do not use it."""

import pytest
from django.db import connection

from tests.support import factories
from tests.support.kept import kept
from training.models import School

pytestmark = pytest.mark.django_db


@kept
def school(db: None) -> School:
    return factories.school(name="As made")


@kept
def renamed(school: School) -> School:
    school.name = "Renamed"
    school.save()
    return school


@pytest.mark.parametrize("again", [1, 2])
def test_each_test_gets_it_as_it_was_made(school: School, again: int) -> None:
    assert [each.name for each in School.objects.all()] == [school.name] == ["As made"]
    assert len(connection.atomic_blocks) == 2  # what is kept, and the test
    school.name = f"changed by test {again}"
    school.save()
    factories.school()


def test_one_that_rests_on_another_is_the_same_object(school: School, renamed: School) -> None:
    assert renamed is school
    assert School.objects.get().name == "Renamed"


def test_without_it_nothing_is_stored() -> None:
    assert not School.objects.exists()
    assert len(connection.atomic_blocks) == 1


@pytest.mark.django_db(transaction=True)
def test_one_that_commits_makes_its_own(school: School) -> None:
    assert not connection.in_atomic_block
    assert School.objects.get() == school
