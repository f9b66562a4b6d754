"""Which new passwords are refused for what they are made of."""

import pytest
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from tests.support.cast import Cast

pytestmark = pytest.mark.any_database  # the same validators on SQLite: test_accounts


def codes(password: str, people: Cast) -> list[str]:
    try:
        validate_password(password, people.ida)
    except ValidationError as refused:
        return [str(each.code) for each in refused.error_list]
    return []


@pytest.mark.parametrize(
    "password",
    [
        pytest.param("TrainingRecord1", id="words of the program"),
        pytest.param("flight-school-26", id="words with signs between"),
        pytest.param("PilotPilotPilot", id="one word again and again"),
        pytest.param("lakeside.flying", id="the name of one's school"),
        pytest.param("Training012345", id="seven characters remain"),
    ],
)
def test_words_that_are_easy_to_guess_are_no_password(people: Cast, password: str) -> None:
    assert codes(password, people) == ["password_easy_words"]


@pytest.mark.parametrize(
    "password",
    [
        pytest.param("four words for the school", id="such a word among others"),
        pytest.param("Lakeside8kxq2mz", id="eight characters remain"),
        pytest.param("7#$9!2@4%6^8", id="signs and digits alone"),
        pytest.param("hilltop hilltop", id="the name of another school"),
        pytest.param("x" * 8 + "é" * 56, id="64 characters of any kind"),
    ],
)
def test_any_other_is_taken(people: Cast, password: str) -> None:
    assert codes(password, people) == []
