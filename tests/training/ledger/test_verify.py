"""The offline verifier: no Django, no database, no other file of this project; messages and exit codes."""

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.ledgers import NOON, TREE, sealed_in_database
from training.ledger.store import checkpoints, keys
from training.ledger.store.export import export
from training.ledger.verify import command

ROOT = Path(__file__).resolve().parents[3]
#: All that the verifier consists of.
FILES = ["__init__.py", "ledger/__init__.py"] + [
    f"ledger/{name}.py"
    for name in (
        *(
            f"core/{each}"
            for each in ("__init__", "assertions", "faults", "package", "proofs", "sealed", "statements")
        ),
        *(f"verify/{each}" for each in ("__init__", "__main__", "command", "exported", "handover")),
    )
]
#: Runs the verifier where these packages, and all of this project but those files, cannot be imported.
ALONE = """
import runpy, sys

class Refused:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in {blocked!r}.split():
            raise ModuleNotFoundError(f"No module named {{name!r}}", name=name)

sys.meta_path.insert(0, Refused())
sys.argv[0] = "verify"
runpy.run_module("training.ledger.verify", run_name="__main__")
"""


@pytest.fixture
def alone(tmp_path: Path) -> Path:
    """A folder with the verifier's own files and nothing else of the project."""
    for name in FILES:
        (tmp_path / "training" / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / "training" / name, tmp_path / "training" / name)
    return tmp_path


def run(
    folder: Path, *arguments: str, blocked: str = "django joserfc rfc8785 rest_framework syllabus api"
) -> tuple[int, str]:
    done = subprocess.run(
        [sys.executable, "-c", ALONE.format(blocked=blocked), *arguments],
        cwd=folder,
        env={"PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert "Traceback" not in done.stderr, done.stderr
    return done.returncode, done.stdout + done.stderr


@pytest.mark.django_db
def test_it_runs_without_django_and_without_the_rest_of_the_project(alone: Path) -> None:
    sealed_in_database(9)
    first = checkpoints.issue(TREE, at=NOON)
    sealed_in_database(11, first=9)
    document = export(TREE, subjects=["student-1"], earlier=[first], at=NOON)
    (alone / "record.json").write_text(json.dumps(document, indent=1))
    (alone / "held.jws").write_text(first.token + "\n")
    kid = keys.signer().kid

    code, said = run(alone, "record.json")
    assert code == 0
    assert said.startswith(
        f"WHOLE: 3 entries of the ledger {TREE}, proved against its checkpoint of 20 entries"
    )
    assert "these are all entries of student-1 up to that checkpoint" in said
    assert "Nothing before the checkpoint of 9 entries" in said
    assert "CAUTION: the key came with this file. Compare its id with what the school has published" in said
    assert said.endswith(f"--key {kid}\n")

    code, said = run(alone, "record.json", "--key", kid, "--against", "held.jws")
    assert (code, "CAUTION" in said) == (0, False)

    code, said = run(alone, "record.json", "--key", "another")
    assert code == 1
    assert "ERROR keys: none of the file's keys is one you trust (another)" in said

    document["entries"][1]["body"] = document["entries"][1]["body"].replace("grade", "grads")
    (alone / "record.json").write_text(json.dumps(document))
    code, said = run(alone, "record.json")
    assert code == 1
    assert "ERROR entries[1] (entry 8): its body, salt or commitment was changed" in said
    assert said.endswith("NOT WHOLE. Errors: 1. Do not rely on this file.\n")

    (alone / "record.json").write_text(json.dumps(export(TREE, at=NOON)))
    code, said = run(alone, "record.json", blocked="django cryptography")
    assert code == 2
    assert said == (
        "Cannot be checked: the Python package cryptography is missing. "
        "Install it: python3 -m pip install cryptography\n"
    )


@pytest.mark.parametrize(
    ("content", "code", "says"),
    [
        pytest.param(None, 2, "Cannot be checked: record.json: No such file or directory", id="no file"),
        pytest.param(b"\xff\xfe", 2, "Cannot be checked: record.json: is not UTF-8 text", id="no text"),
        pytest.param(b"", 1, "ERROR file: is not JSON as an export is written", id="an empty file"),
        pytest.param(b'{"a": 1.0}', 1, "the number 1.0 is not a whole one", id="a fraction"),
        pytest.param(b'{"a":1,"a":2}', 1, "the key 'a' occurs twice", id="a key twice"),
        pytest.param(b"[" * 200_000, 1, "nested too deeply", id="nested without end"),
        pytest.param(b"1" * 5000, 1, "ERROR file: is not JSON", id="a number without end"),
        pytest.param(
            b"{}", 1, "ERROR file: is not an export of a ledger (ledger-export/1)", id="another JSON"
        ),
    ],
)
def test_a_file_that_is_no_export_is_told_apart_from_a_broken_one(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    content: bytes | None,
    code: int,
    says: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    if content is not None:
        Path("record.json").write_bytes(content)
    assert command.main(["record.json"]) == code
    told = capsys.readouterr()
    assert says in told.out + told.err


def test_a_held_checkpoint_that_is_none_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("record.json").write_text("{}")
    for text in ("", "a.b", "[]", "{}", '{"checkpoint": 5}', "{"):
        Path("held").write_text(text)
        assert command.main(["record.json", "--against", "held"]) == 2
        assert capsys.readouterr().err.startswith("Cannot be checked: --against held: ")


def test_the_verifier_imports_nothing_of_django() -> None:
    done = subprocess.run(
        [sys.executable, "-c", "import sys, training.ledger.verify; print('django' in sys.modules)"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout == "False\n"
