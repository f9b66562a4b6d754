"""The operator's guide in DEVELOPERS.md: a script runs it, and its alerts name metrics that are there."""

import re
from typing import Any

import pytest
import yaml
from django.test import Client
from django.utils import timezone

from tests.repository.composed import DOCKER, ROOT, SERVICES, VARIABLE
from training.services.operations import heartbeats

_ALL = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
GUIDE = _ALL.partition("\n# For operators\n")[2].partition("\n# Security\n")[0]


def blocks(language: str) -> list[tuple[str, str]]:
    """Each fenced block of a language with the heading above it."""
    found = []
    for section in re.split(r"^## ", GUIDE, flags=re.MULTILINE)[1:]:
        heading, _, text = section.partition("\n")
        fenced = re.findall(rf"^```{language}\n(.*?)\n```$", text, re.MULTILINE | re.DOTALL)
        found += [(heading, block) for block in fenced]
    return found


def test_the_script_runs_every_block_of_commands() -> None:
    script = (DOCKER / "try.sh").read_text(encoding="utf-8")
    run = re.findall(r'^guide "(.*)"$', script, re.MULTILINE)
    assert sorted(run) == sorted({heading for heading, _ in blocks("sh")})
    assert len(run) == len(set(run)) >= 6
    (proxy,) = re.findall(r'blocks nginx "(.*)" \|', script)
    assert [heading for heading, _ in blocks("nginx")] == [proxy]


def test_every_command_names_services_that_are_there() -> None:
    flags = r"(?:(?!--entry)-\S+ )*(?:--entrypoint \w+ )?"
    ran = re.findall(rf"docker compose (?:--profile keeper )?run ({flags}\w+)", GUIDE)
    assert {words.split()[-1] for words in ran} == {"migrate", "web", "keeper"}
    for block in [block for _, block in blocks("sh")]:
        for line in re.findall(r"docker compose up (.*)", block):
            assert {word for word in line.split() if not word.startswith("--")} <= set(SERVICES)


def test_the_limits_of_the_proxy_are_those_of_the_program() -> None:
    from django.conf import settings

    (nginx,), (caddy,) = ([text for _, text in blocks(name)] for name in ("nginx", "caddy"))
    megabytes = settings.DATA_UPLOAD_MAX_MEMORY_SIZE // 2**20
    assert f"client_max_body_size {megabytes}m;" in nginx
    assert f"max_size {megabytes}MB" in caddy
    (port,) = SERVICES["web"]["ports"]
    assert f"http://{port.rpartition(':')[0]};" in nginx
    assert "proxy_request_buffering on;" in nginx


@pytest.mark.django_db
def test_the_alerts_name_metrics_that_are_there(client: Client) -> None:
    heartbeats.mark(heartbeats.SWEEP, timezone.now())
    assert client.get("/healthz").status_code == 200
    shown = client.get("/metrics", REMOTE_ADDR="127.0.0.1").content.decode()
    names = set(re.findall(r"^(?:# TYPE )?(\w+)", shown, re.MULTILINE))
    # A histogram's parts, which a fresh process shows once something was counted.
    names |= {f"{name}{part}" for name in names for part in ("_bucket", "_count", "_total")}
    scraping, alerts = (yaml.safe_load(text) for _, text in blocks("yaml"))
    assert scraping["scrape_configs"][0]["job_name"] == "training"
    rules: list[dict[str, Any]] = alerts["groups"][0]["rules"]
    asked = {name for rule in rules for name in re.findall(r"training_\w+", rule["expr"])}
    assert len(asked) >= 11
    assert asked <= names
    labels = {
        (name, label, value)
        for rule in rules
        for name, label, value in re.findall(r'(training_\w+)\{(\w+)="(\w+)"\}', rule["expr"])
    }
    assert len(labels) == 4
    for name, label, value in labels:
        assert f'{name}{{{label}="{value}"}}' in shown
    assert all(rule["annotations"]["summary"] for rule in rules)


def test_the_variables_that_the_guide_names_are_there() -> None:
    compose = (DOCKER / "compose.yaml").read_text(encoding="utf-8")
    settings = (ROOT / "training" / "config" / "settings.py").read_text(encoding="utf-8")
    named = set(re.findall(r"`([A-Z]+_[A-Z_]+)`", GUIDE))
    assert {"WEB_WORKERS", "EMAIL_URL", "LEDGER_SIGNING_KEY"} <= named
    known = {name for name, _, _ in VARIABLE.findall(compose)} | set(re.findall(r"``([A-Z_]+)``", settings))
    assert named - known == set()
