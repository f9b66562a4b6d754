"""``manage.py`` on a machine that lacks something: a plain message, and nothing half-made is trusted."""

import os
import pathlib
import runpy
import shutil
import subprocess
import sys

import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]
BASE_PYTHON = sys._base_executable  # type: ignore[attr-defined]
NO_INDEX = {
    "PIP_CONFIG_FILE": os.devnull,
    "PIP_INDEX_URL": "http://127.0.0.1:1/simple",
    "PIP_RETRIES": "0",
    "PIP_NO_CACHE_DIR": "1",
}


def manage(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """A bare interpreter runs ``manage.py`` with next to nothing in its environment."""
    return subprocess.run(
        [BASE_PYTHON, *arguments],
        env={"PATH": "/usr/bin:/bin", "HOME": environment["VENV_DIR"], **environment},
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def as_python(version: tuple[int, ...]) -> list[str]:
    """Arguments that run ``manage.py demo`` as if the interpreter were of another version."""
    code = (
        f"import sys, runpy; sys.version_info = {version!r}; sys.argv = ['manage.py', 'demo']; "
        "runpy.run_path('manage.py', run_name='__main__')"
    )
    return ["-c", code]


@pytest.fixture
def venv(tmp_path: pathlib.Path) -> pathlib.Path:
    return tmp_path / "environment"


def test_an_old_python_is_told_which_one_is_needed(venv: pathlib.Path) -> None:
    done = manage(*as_python((3, 10, 14)), VENV_DIR=str(venv))
    assert done.returncode == 1
    assert done.stderr.startswith("Python 3.11 or newer is needed; ")
    assert "is 3.10.14" in done.stderr
    assert "manage.py demo" in done.stderr
    assert not venv.exists()


def test_without_a_package_index_the_way_out_is_named_and_nothing_is_trusted(venv: pathlib.Path) -> None:
    done = manage("manage.py", "check", VENV_DIR=str(venv), **NO_INDEX)
    assert done.returncode == 1
    assert "Could not install the pinned packages of docker/requirements.lock; pip said:" in done.stderr
    assert "PIP_INDEX_URL" in done.stderr
    assert "Traceback" not in done.stderr
    assert list(venv.glob(".installed-*")) == []


def test_a_folder_that_cannot_be_written_is_named(tmp_path: pathlib.Path) -> None:
    (tmp_path / "file").write_text("in the way")
    done = manage("manage.py", "check", VENV_DIR=str(tmp_path / "file" / "environment"))
    assert done.returncode == 1
    assert f"Cannot write beside {tmp_path / 'file' / 'environment'}: " in done.stderr
    assert "VENV_DIR" in done.stderr


@pytest.mark.parametrize(
    ("stamped", "trusted"),
    [
        pytest.param("the lock's hash", True, id="made to its end from this lock: trusted"),
        pytest.param("0" * 64, False, id="made from another lock: made anew"),
        pytest.param(None, False, id="interrupted before its end: made anew"),
    ],
)
def test_an_environment_is_trusted_by_the_hash_of_its_lock(
    venv: pathlib.Path, monkeypatch: pytest.MonkeyPatch, stamped: str | None, trusted: bool
) -> None:
    monkeypatch.setenv("VENV_DIR", str(venv))
    module = runpy.run_path(str(ROOT / "manage.py"))
    (venv / "bin").mkdir(parents=True)
    shutil.copy(BASE_PYTHON, venv / "bin" / "python")
    if stamped is not None:
        (venv / ".installed-run").write_text(module["digest"]("run") if trusted else stamped)
    assert module["is_current"]("run") is trusted
    assert module["is_current"]("test") is False
