"""``manage.py setup``: a school, its first administrator, and the link that opens the account; once."""

import io
import re
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from tests.support import factories
from training.models import PeopleChange, Role, School, User
from training.services import access

WANTED = {
    "school": "Lakeside Flight School",
    "time_zone": "America/Chicago",
    "administrator": "Ada Example",
    "email": "Ada@Lakeside.example",
}


def printed(**options: Any) -> str:
    out = io.StringIO()
    call_command("setup", **options, stdout=out)
    return out.getvalue()


@pytest.mark.django_db
def test_the_administrator_sets_a_password_and_runs_the_school(client: Client) -> None:
    said = printed(**WANTED)

    school = School.objects.get()
    assert (school.name, school.slug, school.time_zone) == (
        "Lakeside Flight School", "lakeside-flight-school", "America/Chicago",
    )  # fmt: skip
    role = Role.objects.get()
    assert (role.school, role.user.email, role.role) == (school, "ada@lakeside.example", "administrator")
    assert not role.user.is_superuser
    change = PeopleChange.objects.get()
    assert (change.by, change.user, change.what) == (None, role.user, "administrator added")

    (link,) = re.findall(r"https?://\S+", said)
    form = client.get(urlsplit(link).path, follow=True)
    new = {"password1": factories.PASSWORD, "password2": factories.PASSWORD}
    assert client.post(form.request["PATH_INFO"], new).status_code == 302
    assert client.login(username="ada@lakeside.example", password=factories.PASSWORD)
    assert list(access.schools(role.user)) == [school]
    again = Client().get(urlsplit(link).path, follow=True)
    assert "This link no longer works" in again.content.decode()


@pytest.mark.django_db
def test_a_school_is_set_up_once(client: Client) -> None:
    printed(**WANTED)
    with pytest.raises(CommandError, match="is set up already") as refused:
        printed(**{**WANTED, "administrator": "Mallory", "email": "mallory@elsewhere.example"})
    assert refused.value.returncode == 2
    assert School.objects.count() == User.objects.count() == Role.objects.count() == 1


@pytest.mark.django_db
def test_an_account_that_is_there_keeps_its_password() -> None:
    factories.user(email="ada@lakeside.example", password=factories.PASSWORD, name="Ada")
    said = printed(**WANTED)
    assert "with the password that the account has" in said
    assert "http" not in said
    assert Role.objects.get().user.name == "Ada"
    assert Client().login(username="ada@lakeside.example", password=factories.PASSWORD)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        pytest.param({"time_zone": "Lakeside"}, "school.time_zone: 'Lakeside' is not a time zone", id="zone"),
        pytest.param({"email": "ada"}, "administrator.email: Enter a valid email address.", id="an address"),
        pytest.param({"administrator": " "}, "administrator.name: is blank", id="no name"),
        pytest.param({"school": "學"}, "school.slug:", id="a name that makes no short name"),
    ],
)
def test_what_cannot_be_kept_stores_nothing(wrong: dict[str, str], says: str) -> None:
    with pytest.raises(CommandError) as refused:
        printed(**{**WANTED, **wrong})
    assert refused.value.returncode == 2
    assert says in str(refused.value)
    assert not School.objects.exists()
    assert not User.objects.exists()


@pytest.mark.django_db
def test_a_closed_account_gets_no_school() -> None:
    factories.user(email="ada@lakeside.example", is_active=False)
    with pytest.raises(CommandError, match="is closed"):
        printed(**WANTED)
    assert not School.objects.exists()


@pytest.mark.django_db
def test_it_asks_for_what_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    answers = iter(WANTED.values())
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda asked: next(answers))
    printed()
    assert Role.objects.get().school.name == WANTED["school"]


@pytest.mark.django_db
def test_a_program_that_leaves_something_out_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO())
    with pytest.raises(CommandError, match="--time-zone is missing"):
        printed(**{**WANTED, "time_zone": None})
    assert not School.objects.exists()
