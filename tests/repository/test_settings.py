"""The settings read from the environment: safe where served to others, and plain about what is wrong."""

import os
import pathlib
import runpy
import stat
import subprocess
import sys
from typing import Any
from unittest import mock

import pytest
from django.core.exceptions import ImproperlyConfigured

ROOT = pathlib.Path(__file__).resolve().parents[2]
KEY = "k" * 64
SERVED = {"DATABASE_URL": "postgres://u:p@db/t", "SECRET_KEY": KEY}


def read(folder: pathlib.Path, **environment: str) -> dict[str, Any]:
    """The settings as a process with this environment and no other variable reads them."""
    given = {"PATH": os.environ["PATH"], "DATA_DIR": str(folder), **environment}
    with mock.patch.dict(os.environ, given, clear=True):
        return runpy.run_path(str(ROOT / "training" / "config" / "settings.py"))


def test_with_nothing_set_it_runs_embedded_on_this_machine_alone(tmp_path: pathlib.Path) -> None:
    settings = read(tmp_path / "data")
    assert settings["EMBEDDED"] is True
    assert settings["DEBUG"] is False
    assert settings["ALLOWED_HOSTS"] == ["localhost", "127.0.0.1", "[::1]"]
    assert settings["SESSION_COOKIE_SECURE"] is False  # plain http on this machine
    assert settings["CELERY_BROKER_URL"] == "memory://"
    database = settings["DATABASES"]["default"]
    assert database["ENGINE"] == "django.db.backends.sqlite3"
    assert database["NAME"] == str(tmp_path / "data" / "training.sqlite3")
    assert database["OPTIONS"]["transaction_mode"] == "IMMEDIATE"


@pytest.mark.parametrize(
    ("environment", "backend", "refused"),
    [
        pytest.param({}, "filebased", "", id="embedded: e-mails are files in the data folder"),
        pytest.param({"EMAIL_URL": "consolemail://"}, "console", "", id="embedded, as somebody chose"),
        pytest.param({"DEBUG": "on", **SERVED}, "filebased", "", id="a developer's own copy"),
        pytest.param({**SERVED, "EMAIL_URL": "memorymail://"}, "locmem", "EMAIL_URL names", id="memory"),
        pytest.param(SERVED, "filebased", "EMAIL_URL is not set", id="served to others: refused by name"),
        pytest.param(
            {**SERVED, "EMAIL_URL": "filemail:///tmp"},
            "filebased",
            "EMAIL_URL names no mail server",
            id="files",
        ),
        pytest.param(
            {**SERVED, "EMAIL_URL": "smtp+tls://a:b@mail.example:587"}, "smtp", "", id="a mail server"
        ),
    ],
)
def test_e_mail_leaves_by_a_mail_server_or_not_at_all(
    tmp_path: pathlib.Path, environment: dict[str, str], backend: str, refused: str
) -> None:
    settings = read(tmp_path, **environment)
    assert settings["EMAIL_BACKEND"] == "training.services.reminders.outgoing.Outbox"
    assert settings["MAIL_BACKEND"] == f"django.core.mail.backends.{backend}.EmailBackend"
    assert settings["MAIL_REFUSED"].startswith(refused)
    assert bool(settings["MAIL_REFUSED"]) is bool(refused)


def test_an_embedded_copy_draws_its_key_once_and_keeps_it_to_its_owner(tmp_path: pathlib.Path) -> None:
    first, second = read(tmp_path), read(tmp_path)
    assert first["SECRET_KEY"] == second["SECRET_KEY"]
    assert len(str(first["SECRET_KEY"])) >= 50
    assert stat.S_IMODE((tmp_path / "secret-key").stat().st_mode) == 0o600
    assert sorted(path.name for path in tmp_path.iterdir()) == ["secret-key", "static"]


@pytest.mark.parametrize(
    ("environment", "secure"),
    [
        pytest.param(
            {"DATABASE_URL": "postgres://u:p@db/t"}, True, id="served to others: secure cookies, https"
        ),
        pytest.param(
            {"DATABASE_URL": "postgres://u:p@db/t", "HTTPS": "off"}, False, id="unless said otherwise"
        ),
        pytest.param(
            {"DATABASE_URL": "postgres://u:p@db/t", "DEBUG": "on"}, False, id="or a developer's own copy"
        ),
        pytest.param({"HTTPS": "on"}, True, id="an embedded copy behind https"),
    ],
)
def test_cookies_are_secure_where_served_to_others(
    tmp_path: pathlib.Path, environment: dict[str, str], secure: bool
) -> None:
    settings = read(tmp_path, SECRET_KEY=KEY, **environment)
    names = ("SESSION_COOKIE_SECURE", "CSRF_COOKIE_SECURE", "SECURE_SSL_REDIRECT")
    assert {settings[name] for name in names} == {secure}


@pytest.mark.parametrize(
    ("environment", "named"),
    [
        pytest.param(
            {"DATABASE_URL": "postgres://u:p@db/t"}, "SECRET_KEY is not set", id="no key where served"
        ),
        pytest.param(
            {"DATABASE_URL": "mysql://u:p@db/t", "SECRET_KEY": KEY},
            "DATABASE_URL begins with 'mysql'",
            id="another database",
        ),
        pytest.param(
            {"DATABASE_URL": "training", "SECRET_KEY": KEY},
            "DATABASE_URL begins with 'training'",
            id="no address at all",
        ),
        pytest.param(
            {"HTTPS": "onn"}, "HTTPS is 'onn'; write on or off", id="a misspelt switch is not taken for off"
        ),
        pytest.param(
            {"NUM_PROXIES": "-1"}, "NUM_PROXIES is '-1'; write a whole number", id="a count below nothing"
        ),
    ],
)
def test_what_cannot_work_is_refused_by_name(
    tmp_path: pathlib.Path, environment: dict[str, str], named: str
) -> None:
    with pytest.raises(ImproperlyConfigured) as refused:
        read(tmp_path, **environment)
    assert named in str(refused.value)


def test_a_key_file_that_was_cut_short_is_refused(tmp_path: pathlib.Path) -> None:
    (tmp_path / "secret-key").write_text("short")
    with pytest.raises(ImproperlyConfigured, match="holds 5 characters"):
        read(tmp_path)


def test_manage_says_it_in_a_line(tmp_path: pathlib.Path) -> None:
    done = subprocess.run(
        [sys.executable, "manage.py", "check"],
        env={"PATH": os.environ["PATH"], "DATA_DIR": str(tmp_path), "DATABASE_URL": "postgres://u:p@db/t"},
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1
    assert done.stderr.startswith("Settings error: SECRET_KEY is not set.")
    assert "Traceback" not in done.stderr
