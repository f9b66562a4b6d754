"""The compose file and the Dockerfile as the tests read them."""

from __future__ import annotations

import pathlib
import re
from typing import Any

import pytest
import yaml

ROOT = pathlib.Path(__file__).resolve().parents[2]
DOCKER = ROOT / "docker"
COMPOSE: dict[str, Any] = yaml.safe_load((DOCKER / "compose.yaml").read_text(encoding="utf-8"))
SERVICES: dict[str, dict[str, Any]] = COMPOSE["services"]
OURS = {name for name, each in SERVICES.items() if "build" in each}
SECRETS = {
    "SECRET_KEY": "known to everybody, and therefore good for nothing but these tests",
    "LEDGER_SIGNING_KEY": "YSBrZXkgb2YgdGhpcyB0ZXN0IGFsb25lIDAxMjM0NTY=",
    "METRICS_TOKEN": "a-token-of-these-tests-alone",
    "SUPERUSER_PASSWORD": "superuser-of-these-tests",
    "OWNER_PASSWORD": "owner-of-these-tests",
    "APP_PASSWORD": "app-of-these-tests",
    "BROKER_PASSWORD": "broker-of-these-tests",
    "EMAIL_URL": "memorymail://",
    "EMAIL_FROM": "record@school.example",
    "PUBLIC_ADDRESS": "https://training.school.example",
    "ALLOWED_HOSTS": "training.school.example",
}
VARIABLE = re.compile(r"\$\{(\w+)(?::([?-])([^}]*))?\}")


def filled_in(text: str) -> str:
    """A value as compose gives it: variables put in, and ``$$`` for ``$``."""

    def value(found: re.Match[str]) -> str:
        name, sign, rest = found.groups()
        return (
            SECRETS[name] if name in SECRETS else rest if sign == "-" else pytest.fail(f"{name} is not set")
        )

    return VARIABLE.sub(value, text).replace("$$", "$")


def environment_of(service: str) -> dict[str, str]:
    return {name: filled_in(str(value)) for name, value in SERVICES[service].get("environment", {}).items()}


def instructions() -> list[str]:
    text = (DOCKER / "Dockerfile").read_text(encoding="utf-8").replace("\\\n", " ")
    return [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
