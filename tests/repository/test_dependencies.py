"""Dependencies say why they are there, and are installed by hash from wherever the user's index is."""

import pathlib
import re
import tomllib

import pytest

from tests.support.rows import over_rows

ROOT = pathlib.Path(__file__).resolve().parents[2]
PROJECT = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
RUN, TEST = ROOT / "docker" / "requirements.lock", ROOT / "docker" / "requirements-test.lock"


def normal(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def locked(lock: pathlib.Path) -> dict[str, list[str]]:
    """Each pinned line of a lock (``name==version ; marker``) with its hashes."""
    packages: dict[str, list[str]] = {}
    for line in lock.read_text(encoding="utf-8").splitlines():
        if line and not line.startswith((" ", "#")):
            packages[line.removesuffix("\\").strip()] = []
        elif (hashed := line.strip().removesuffix("\\").strip()).startswith("--hash="):
            packages[list(packages)[-1]].append(hashed)
    return packages


def requirement_name(requirement: str) -> str:
    match = re.match(r"[A-Za-z0-9][A-Za-z0-9._-]*", requirement)
    assert match, requirement
    return normal(match.group())


def declared(group: str) -> list[str]:
    project = tomllib.loads(PROJECT)
    found: list[str] = (
        project["project"]["dependencies"] if group == "run" else project["dependency-groups"]["test"]
    )
    return found


@over_rows("requirement", declared("run") + declared("test"))
def test_every_dependency_has_its_reason_on_the_line_above(requirement: str) -> None:
    lines = PROJECT.splitlines()
    at = next(number for number, line in enumerate(lines) if line.strip() == f'"{requirement}",')
    reason = lines[at - 1].strip()
    assert reason.startswith("# ")
    assert len(reason.split()) > 3


@pytest.mark.parametrize("lock", [RUN, TEST], ids=["for running", "for testing"])
def test_every_package_of_a_lock_is_pinned_by_hash(lock: pathlib.Path) -> None:
    packages = locked(lock)
    assert len(packages) > 30
    for pinned, hashes in packages.items():
        assert re.match(r"[a-z0-9._-]+(\[[a-z0-9,-]+\])?==[0-9][^ ]*( ; .+)?$", pinned), pinned
        assert hashes, pinned
        assert all(re.fullmatch(r"--hash=sha256:[0-9a-f]{64}", one) for one in hashes), pinned


@pytest.mark.parametrize(
    ("lock", "group"),
    [pytest.param(RUN, "run", id="for running"), pytest.param(TEST, "test", id="for testing")],
)
def test_a_lock_holds_every_declared_dependency(lock: pathlib.Path, group: str) -> None:
    pinned = {requirement_name(line) for line in locked(lock)}
    assert {requirement_name(requirement) for requirement in declared(group)} <= pinned


def test_the_tests_run_on_the_very_versions_that_are_run() -> None:
    """So the tests' lock can be installed on top of the other, or instead of it."""
    assert {pinned.partition(" ;")[0] for pinned in locked(RUN)} <= {
        pinned.partition(" ;")[0] for pinned in locked(TEST)
    }


@pytest.mark.parametrize(
    "path",
    [ROOT / "pyproject.toml", *(path for path in sorted((ROOT / "docker").rglob("*")) if path.is_file())],
    ids=lambda path: str(path.relative_to(ROOT)),
)
def test_no_address_of_a_package_index_is_written_down(path: pathlib.Path) -> None:
    text = path.read_text(encoding="utf-8")
    # A school's own address, as the guide's script has it, names no index.
    named = re.findall(r"https?://(?![^\s/]*\.example|\$host|\")\S+", text)
    assert named == []
    assert (
        re.findall(
            r"--(?:extra-)?index-url|--find-links|--trusted-host", text.replace("--no-emit-index-url", "")
        )
        == []
    )
