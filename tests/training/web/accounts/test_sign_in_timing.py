"""How long a sign-in takes tells nothing of the account: the slow step is done once, whoever asks."""

from collections.abc import Callable

import pytest
from allauth.mfa.totp.internal.auth import TOTP
from django.contrib.auth.hashers import get_hasher
from django.test import Client

from tests.support.cast import Cast
from training import models

WRONG = "not the password"


def nobody(ida: models.User) -> None:
    models.User.objects.filter(pk=ida.pk).update(email="ida@elsewhere.example")


def closed(ida: models.User) -> None:
    models.User.objects.filter(pk=ida.pk).update(is_active=False)


def invited(ida: models.User) -> None:
    ida.set_unusable_password()
    ida.save()


def with_an_app(ida: models.User) -> None:
    TOTP.activate(ida, "A" * 32)


def with_a_password(ida: models.User) -> None:
    pass


def by_page(client: Client, email: str) -> int:
    return int(client.post("/login/", {"login": email, "password": WRONG}).status_code)


def by_program(client: Client, email: str) -> int:
    said = {"email": email, "password": WRONG}
    return int(client.post("/api/v1/auth/login/", said, content_type="application/json").status_code)


@pytest.mark.any_database  # the same sign-ins on SQLite: test_accounts, test_signing_in
@pytest.mark.parametrize("sign_in", [by_page, by_program])
@pytest.mark.parametrize("account", [with_a_password, nobody, closed, invited, with_an_app])
def test_a_password_is_hashed_once_for_every_address(
    client: Client,
    people: Cast,
    monkeypatch: pytest.MonkeyPatch,
    account: Callable[[models.User], None],
    sign_in: Callable[[Client, str], int],
) -> None:
    email = people.ida.email
    people.ida.set_password("the password of ida")
    people.ida.save()
    account(people.ida)
    hasher, hashed = type(get_hasher()), []
    encode = hasher.encode

    def counted(self: object, password: str, *args: object) -> str:
        hashed.append(password)
        return str(encode(self, password, *args))

    monkeypatch.setattr(hasher, "encode", counted)
    assert sign_in(client, email) == sign_in(client, "no-one-at-all@example.com")
    assert len(hashed) == 2
