"""What the compose file and the Dockerfile promise: least rights, secrets from outside, health watched."""

from __future__ import annotations

import json
import re

import pytest
from jsonschema import Draft202012Validator

from tests.repository.composed import COMPOSE, DOCKER, OURS, ROOT, SECRETS, SERVICES, VARIABLE, instructions


def errors_of(compose: object) -> list[str]:
    """What the schema of the Compose Specification says (Apache License 2.0, copied whole)."""
    schema = json.loads((ROOT / "tests/repository/compose-spec/schema.json").read_text(encoding="utf-8"))
    return [f"{each.json_path}: {each.message}" for each in Draft202012Validator(schema).iter_errors(compose)]


def test_the_file_is_one_that_compose_reads() -> None:
    assert errors_of(COMPOSE) == []
    misspelt = {**COMPOSE, "services": {**SERVICES, "web": {**SERVICES["web"], "healthchek": {}}}}
    assert any("healthchek" in each for each in errors_of(misspelt))


def test_the_services_are_those_that_run_it() -> None:
    assert set(SERVICES) == {"database", "broker", "migrate", "web", "worker", "beat", "keeper"}
    assert set(SERVICES) - {"database", "broker"} == OURS
    assert {SERVICES[name]["image"] for name in OURS} == {"training:local"}
    assert {SERVICES[name]["build"]["dockerfile"] for name in OURS} == {"docker/Dockerfile"}
    assert (DOCKER / SERVICES["web"]["build"]["context"]).resolve() == ROOT


@pytest.mark.parametrize("name", sorted(SERVICES))
def test_nobody_has_more_than_they_need(name: str) -> None:
    service = SERVICES[name]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert not {"privileged", "cap_add", "devices", "pid", "ipc", "network_mode"} & set(service)
    assert not [each for each in service.get("volumes", []) if "docker.sock" in str(each)]
    if name != "database":  # whose image begins as root, to give the folder to its own user
        assert service["cap_drop"] == ["ALL"]
        assert service["read_only"] is True
    ways_out = set(service["networks"]) - {"inside"}
    assert ways_out == ({"outside"} if name in ("web", "worker") else set())
    assert service.get("ports", []) == (["127.0.0.1:8000:8000"] if name == "web" else [])


@pytest.mark.parametrize("name", sorted(SERVICES))
def test_no_service_can_take_the_memory_of_the_machine(name: str) -> None:
    assert re.fullmatch(r"\d+[mg]", SERVICES[name]["mem_limit"])


def test_the_inner_network_has_no_way_out() -> None:
    assert COMPOSE["networks"]["inside"] == {"internal": True}


@pytest.mark.parametrize("name", sorted(set(SERVICES) - {"migrate", "keeper"}))
def test_what_goes_on_and_on_is_watched_and_started_again(name: str) -> None:
    assert SERVICES[name]["restart"] == "unless-stopped"
    health = SERVICES[name]["healthcheck"]
    assert set(health) == {"test", "interval", "timeout", "retries", "start_period"}
    assert health["test"][0] in ("CMD", "CMD-SHELL")


def test_a_beat_that_was_killed_is_not_held_up_by_a_file_it_left() -> None:
    """Its process has the same id in every container, so that a left file would look like a living beat."""
    entry = (DOCKER / "entrypoint.sh").read_text(encoding="utf-8")
    [beat] = [
        line.split()
        for line in entry.splitlines()
        if line.strip().startswith("exec celery") and " beat " in line
    ]
    assert "--pidfile=" in beat  # the whole word: no file at all
    assert SERVICES["beat"]["command"] == ["beat"]
    assert SERVICES["worker"]["command"] == ["worker"]


def test_nobody_begins_before_the_tables_are_there() -> None:
    for name in ("web", "worker", "beat"):
        waits = SERVICES[name]["depends_on"]
        assert waits["migrate"] == {"condition": "service_completed_successfully"}
    assert SERVICES["migrate"]["depends_on"] == {"database": {"condition": "service_healthy"}}


def test_every_secret_comes_from_the_environment_and_none_has_a_default() -> None:
    text = (DOCKER / "compose.yaml").read_text(encoding="utf-8")
    found = {name: sign for name, sign, _ in VARIABLE.findall(text)}
    assert set(SECRETS) <= set(found)
    assert {name for name, sign in found.items() if sign != "?"} == {
        "LOG_LEVEL",
        "WEB_WORKERS",
        "WEB_THREADS",
        "WORKER_CONCURRENCY",
        "DATABASE_CONNECTIONS",
    }
    for name, service in SERVICES.items():
        for variable, value in service.get("environment", {}).items():
            if re.search("PASSWORD|KEY|TOKEN|SECRET|AUTH$", variable):
                assert str(value).startswith("${"), f"{name} has {variable} written out"


def test_each_process_knows_only_the_secrets_it_uses() -> None:
    def knows(name: str) -> set[str]:
        text = " ".join(str(value) for value in SERVICES[name].get("environment", {}).values())
        return {secret for secret in SECRETS if f"${{{secret}:" in text}

    everywhere = {"SECRET_KEY", "ALLOWED_HOSTS"}
    app = everywhere | {"APP_PASSWORD", "BROKER_PASSWORD"}
    signs = {"LEDGER_SIGNING_KEY", "EMAIL_URL", "EMAIL_FROM", "PUBLIC_ADDRESS"}
    assert knows("beat") == app
    assert knows("worker") == app | signs
    assert knows("web") == app | signs | {"METRICS_TOKEN"}
    assert knows("migrate") == everywhere | {"OWNER_PASSWORD", "LEDGER_SIGNING_KEY"}
    assert knows("broker") == {"BROKER_PASSWORD"}
    assert knows("database") == {"SUPERUSER_PASSWORD", "OWNER_PASSWORD", "APP_PASSWORD"}


def test_the_broker_keeps_its_file_and_drops_nothing() -> None:
    command = " ".join(SERVICES["broker"]["command"])
    for said in (
        "--appendonly yes",
        "--appendfsync everysec",
        "--maxmemory-policy noeviction",
        "--dir /data",
    ):
        assert said in command
    assert SERVICES["broker"]["volumes"] == ["broker:/data"]


@pytest.mark.parametrize("name", sorted(SERVICES))
def test_every_volume_and_file_that_is_mounted_is_there(name: str) -> None:
    for each in SERVICES[name].get("volumes", []):
        source = each.partition(":")[0]
        assert (DOCKER / source).is_file() if source.startswith(".") else source in COMPOSE["volumes"]


def test_the_image_is_the_lock_and_the_code_run_by_nobody_in_particular() -> None:
    lines = instructions()
    last = len(lines) - 1 - [line.split()[0] for line in lines][::-1].index("FROM")
    final = lines[last:]
    users = [line.split()[1] for line in final if line.startswith("USER")]
    assert users == ["training"]
    (install,) = [line for line in lines if "pip install" in line]
    assert "--require-hashes" in install
    assert "--only-binary=:all:" in install
    assert [line for line in final if "pip install" in line] == []
    copied = [line.split()[1:-1] for line in final if line.startswith("COPY") and "--from" not in line]
    sources = [source for line in copied for source in line]
    assert all((ROOT / source).exists() for source in sources)
    assert not {"tests", "."} & set(sources)
    assert not [
        line for line in lines if re.search(r"(KEY|PASSWORD|TOKEN)=", line) and line.startswith("ENV")
    ]
    client = re.search(r"postgresql-client-(\d+)", " ".join(final))
    assert client
    assert SERVICES["database"]["image"].startswith(f"postgres:{client.group(1)}-")


def test_what_is_sent_to_the_builder_holds_no_data_and_no_key() -> None:
    lines = (DOCKER / "Dockerfile.dockerignore").read_text(encoding="utf-8").split("\n")
    rules = [line for line in lines if line and not line.startswith("#")]
    assert rules[0] == "*"
    allowed = {line.removeprefix("!") for line in rules if line.startswith("!")}
    assert allowed == {"api", "syllabus", "training", "fixtures", "docker", "manage.py"}
    assert "docker/.env" in rules
