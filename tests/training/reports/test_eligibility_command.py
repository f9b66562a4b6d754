"""``manage.py eligibility``: a document in, a table or the report out, and every fault named at once."""

from __future__ import annotations

import copy
import io
import json
import os
import pathlib
import subprocess
import sys
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
import time_machine

from syllabus.engine.record import document
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.rules.question import context_from
from syllabus.law import rulebook
from training.management.commands import eligibility

ROOT = pathlib.Path(__file__).parents[3]
SOLO = ROOT / "fixtures" / "records" / "before-first-solo.json"
TEST = ROOT / "fixtures" / "records" / "before-practical-test.json"
FIRST_SOLO = ["--toward", "faa.first-solo", "--context", "aircraft_model=C172"]

Answer = tuple[int, str, str]


def ask(*arguments: object) -> Answer:
    """Exit code, standard output and standard error of the command, run in this process no database."""
    out, err = io.StringIO(), io.StringIO()
    with pytest.raises(SystemExit) as end:
        eligibility.Command(stdout=out, stderr=err).run_from_argv(
            ["manage.py", "eligibility", *map(str, arguments)]
        )
    return int(str(end.value.code)), out.getvalue(), err.getvalue()


def start(*arguments: object, **environment: str) -> subprocess.CompletedProcess[bytes]:
    """The command as one types it, in a process of its own."""
    return subprocess.run(
        [sys.executable, ROOT / "manage.py", "eligibility", *map(str, arguments)],
        capture_output=True,
        env={**os.environ, **environment},
        timeout=60,
    )


@pytest.fixture
def written(tmp_path: pathlib.Path) -> Callable[[Any], pathlib.Path]:
    """Writes a document, as JSON or as the bytes given, and gives its path."""

    def write(value: Any) -> pathlib.Path:
        path = tmp_path / "record.json"
        path.write_bytes(value if isinstance(value, bytes) else json.dumps(value).encode())
        return path

    return write


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        pytest.param([SOLO, *FIRST_SOLO, "--on", "2026-12-03"], 0, "✓ ELIGIBLE", id="eligible"),
        pytest.param([SOLO, *FIRST_SOLO, "--on", "2026-12-02"], 1, "✗ NOT ELIGIBLE", id="not eligible"),
        pytest.param([SOLO, *FIRST_SOLO[:2], "--on", "2026-12-03"], 1, "? NOT KNOWN", id="not known"),
        pytest.param([SOLO, "--on", "2026-12-03"], 1, "\n? unknown", id="not all"),
    ],
)  # fmt: skip
def test_the_exit_code_is_the_answer(arguments: list[str], code: int, said: str) -> None:
    got, out, err = ask(*arguments)

    assert (got, err) == (code, "")
    assert said in out


@pytest.mark.parametrize("on", ["2026-12-02", "2026-12-03", "2027-02-06", "2027-02-07"])
def test_json_is_the_report_alone(on: str) -> None:
    code, out, err = ask(SOLO, *FIRST_SOLO, "--on", on, "--json")

    report = evaluate(
        rulebook.current(),
        document.parse(json.loads(SOLO.read_text())),
        "faa.first-solo",
        date.fromisoformat(on),
        context=context_from({"aircraft_model": "C172"}),
    )
    assert json.loads(out) == report.as_json()
    assert (code, err) == (0 if report.eligible else 1, "")


def test_json_of_every_milestone_is_a_list_of_reports() -> None:
    code, out, err = ask(TEST, "--on", "2026-11-20", "--json")

    answer = json.loads(out)
    assert list(answer) == ["reports"]
    assert [report["milestone"] for report in answer["reports"]] == list(rulebook.current().milestones)
    assert (code, err) == (1, "")


def test_the_context_may_hold_a_route_and_be_repeated() -> None:
    code, out, _ = ask(
        SOLO, "--toward", "faa.solo-cross-country", "--on", "2026-12-03", "--json",
        "--context", "aircraft_model=C172", "--context", "route=KGRB, KMTW,M26", "--context", "airport=kosh",
    )  # fmt: skip

    report = json.loads(out)
    assert report["context"] == {
        "aircraft_model": "C172",
        "route": ["KGRB", "KMTW", "KM26"],
        "airport": "KOSH",
    }
    assert [each["met"] for each in report["requirements"]] == [True, False, False, False, False]
    assert code == 1


@pytest.mark.parametrize(
    ("known_at", "met"),
    [
        pytest.param("2026-11-15T12:00:00Z", False, id="before it was written down"),
        pytest.param("2026-11-15T18:00:00-06:00", True, id="at the very instant"),
    ],
)
def test_known_at_leaves_out_what_was_recorded_later(
    written: Callable[[Any], pathlib.Path], known_at: str, met: bool
) -> None:
    record = json.loads(SOLO.read_text())
    record["endorsements"][1]["recorded"] = "2026-11-16T00:00:00+00:00"
    path = written(record)

    _, out, _ = ask(path, *FIRST_SOLO, "--on", "2026-12-03", "--known-at", known_at, "--json")

    found = {each["id"]: each["met"] for each in json.loads(out)["requirements"]}
    assert found["faa.first-solo.solo-endorsement"] is met


def test_a_day_is_today_unless_said() -> None:
    with time_machine.travel("2026-12-03T12:00:00Z", tick=False):
        code, out, _ = ask(SOLO, *FIRST_SOLO)

    assert code == 0
    assert "on 2026-12-03" in out.splitlines()[0]


def test_standard_input_is_read_as_a_file_is() -> None:
    done = subprocess.run(
        [sys.executable, ROOT / "manage.py", "eligibility", "-", *FIRST_SOLO, "--on", "2026-12-03"],
        input=SOLO.read_bytes(),
        capture_output=True,
        timeout=60,
    )

    assert (done.returncode, done.stderr) == (0, b"")
    assert done.stdout.decode() == ask(SOLO, *FIRST_SOLO, "--on", "2026-12-03")[1]


FORMAT = b'{"format": "training-record/1", '


@pytest.mark.parametrize(
    ("content", "said"),
    [
        pytest.param(b"", "is empty; a training record document is expected", id="an empty file"),
        pytest.param(
            b"{",
            "line 1, column 2: not JSON: Expecting property name enclosed in double quotes",
            id="half a file",
        ),
        pytest.param(b"\x7fELF\x02\x01\x01\xff", "byte 7: not UTF-8 text", id="a program"),
        pytest.param(
            b"[" * 100_000,
            "not readable JSON: it is nested too deeply or contains a number that is too long",
            id="brackets without end",
        ),
        pytest.param(b"[]", "expected an object, got a list", id="a list"),
        pytest.param(
            b'{"format": "training-record/2"}',
            "format: 'training-record/2' is not a known format; use one of training-record/1;"
            " did you mean 'training-record/1'?",
            id="another format",
        ),
        pytest.param(
            FORMAT + b'"flights": [{"date": "2026-03-02", "times": {"total": "62.5 NM"}}]}',
            "flights[0].times.total: '62.5 NM' is a distance, but a time is expected, such as '1.4 h',"
            " '84 min', '1:24' or 1.4",
            id="a distance for a time",
        ),
        pytest.param(
            FORMAT + b'"student": {"name": "\\u001b[31m"}, "f\\u001b[2J\\nx": 1}',
            r"f\x1b[2J\nx: unknown key; use one of format, student, certificates, flights, ground,"
            " items, documents, tests, endorsements",
            id="a key that would steer the terminal",
        ),
    ],
)
def test_a_document_that_cannot_be_read_is_named_with_file_and_place(
    written: Callable[[Any], pathlib.Path], content: bytes, said: str
) -> None:
    path = written(content)

    assert ask(path) == (2, "", f"{path}: {said}\n")


def test_every_fault_is_listed_at_once_each_in_a_line(written: Callable[[Any], pathlib.Path]) -> None:
    record = copy.deepcopy(json.loads(SOLO.read_text()))
    record["flights"][3]["timez"] = record["flights"][3].pop("times")
    record["flights"][0]["route"] = ["KOSH", "KGRBB"]
    record["documents"][2]["class"] = "fourth"
    record["student"]["birth_date"] = "2010-02-30"
    path = written(record)

    code, out, err = ask(
        path, "--toward", "first-solo", "--on", "20 November", "--known-at", "2026-11-20",
        "--context", "aircraft=C172", "--context", "C172", "--context", "airport=KXXXX",
        "--context", "route=KOSH", "--context", "route=KGRB",
    )  # fmt: skip

    assert (code, out) == (2, "")
    lines = err.splitlines()
    for begins in (
        "--on: '20 November' is not a date; write it like 2026-03-02",
        "--known-at: '2026-11-20' is not a date and time; write it like 2026-03-02T19:40:00-06:00",
        "--context C172: write it as KEY=VALUE, such as aircraft_model=C172",
        "--context route: given twice; keep one",
        "--context aircraft: unknown key; did you mean 'aircraft_model'?",
        "--context airport: no airport has the identifier 'KXXXX'.",
        "--toward: there is no milestone 'first-solo'; did you mean 'faa.first-solo'? Use one of faa.",
        f"{path}: flights[3].timez: unknown key; did you mean 'times'?",
        f"{path}: flights[0].route[1]: no airport has the identifier 'KGRBB'.",
        f"{path}: documents[2].class: 'fourth' is not a class of medical certificate; use one"
        " of first, second",
        f"{path}: student.birth_date: '2010-02-30' is not a calendar date",
    ):
        assert sum(line.startswith(begins) for line in lines) == 1, begins
    assert len(lines) == 11


@pytest.mark.parametrize(
    ("toward", "said"),
    [
        pytest.param("faa.private-practical", "did you mean 'faa.private-practical-test'", id="cut short"),
        pytest.param("FAA.First-Solo", "did you mean 'faa.first-solo'", id="in capitals"),
        pytest.param("first-solo", "did you mean 'faa.first-solo'?", id="without the authority"),
        pytest.param("", "there is no milestone ''. Use one of faa.first-solo", id="blank"),
        pytest.param("zzz", "there is no milestone 'zzz'. Use one of faa.first-solo", id="like nothing"),
    ],
)
def test_an_unknown_milestone_is_answered_with_those_that_are_close(toward: str, said: str) -> None:
    code, out, err = ask(SOLO, "--toward", toward)

    assert (code, out) == (2, "")
    assert said in err
    assert len(err.splitlines()) == 1


@pytest.mark.parametrize("pair", ["C172", "=C172", "aircraft_model=", "route= ", "="])
def test_a_context_without_key_or_value_is_bad_input(pair: str) -> None:
    said = f"--context {pair}: write it as KEY=VALUE, such as aircraft_model=C172\n"

    assert ask(SOLO, "--context", pair) == (2, "", said)


@pytest.mark.parametrize("toward", [FIRST_SOLO, []], ids=["of one milestone", "of any"])
def test_a_day_without_rules_in_force_is_bad_input(toward: list[str]) -> None:
    code, out, err = ask(SOLO, *toward, "--on", "1997-08-03")

    assert (code, out) == (2, "")
    assert err.startswith(
        "--on: faa.first-solo.age has no version in force on 1997-08-03; its first starts 1997-08-04."
    )


@pytest.mark.parametrize(
    ("path", "said"),
    [
        pytest.param("none.json", "none.json: cannot be read: No such file or directory", id="no such file"),
        pytest.param(str(ROOT), f"{ROOT}: cannot be read: Is a directory", id="a folder"),
        pytest.param("", "'': cannot be read: No such file or directory", id="no name"),
        pytest.param("/dev/zero", "/dev/zero: more than 64 MB; no training record is that long", id="no end"),
        pytest.param("a\0b", r"a\x00b: cannot be read: embedded null byte", id="no name of a file"),
    ],
)  # fmt: skip
def test_a_file_that_cannot_be_read_is_named(path: str, said: str) -> None:
    assert ask(path) == (2, "", said + "\n")


@pytest.mark.parametrize(
    "arguments",
    [
        pytest.param([], id="no document"),
        pytest.param([SOLO, "--towards", "faa.first-solo", "x"], id="an option that is none"),
        pytest.param([SOLO, "--on"], id="an option without its value"),
    ],
)
def test_arguments_that_are_none_end_with_the_usage(
    arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = ask(*arguments)

    assert (code, out, err) == (2, "", "")
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.startswith("usage: manage.py eligibility")


def test_it_needs_no_settings_and_makes_no_folder(tmp_path: pathlib.Path) -> None:
    done = start(
        SOLO, *FIRST_SOLO, "--on", "2026-12-03",
        DATABASE_URL="postgres://nobody@127.0.0.1:1/nothing", REDIS_URL="redis://127.0.0.1:1/0",
        SECRET_KEY="", DEBUG="maybe", DATA_DIR=str(tmp_path / "data"),
        DJANGO_SETTINGS_MODULE="no.such.module",
    )  # fmt: skip

    assert (done.returncode, done.stderr) == (0, b"")
    assert not (tmp_path / "data").exists()


def test_a_reader_that_goes_away_is_no_fault() -> None:
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(
        [sys.executable, ROOT / "manage.py", "eligibility", TEST, "--on", "2026-11-20"],
        stdout=write,
        stderr=subprocess.PIPE,
        timeout=60,
    )
    os.close(write)

    assert (done.returncode, done.stderr) == (1, b"")


@pytest.mark.parametrize(
    ("redirected", "code", "said"),
    [
        pytest.param(
            "- <&-",
            2,
            b"standard input: is closed; give a file, or send the document into it\n",
            id="no input",
        ),
        pytest.param(f"{SOLO} >&-", 1, b"", id="no output"),
        pytest.param("nowhere.json 2>&-", 2, b"", id="no place for faults"),
    ],
)
def test_a_stream_that_is_closed_leads_to_no_trace(redirected: str, code: int, said: bytes) -> None:
    done = subprocess.run(
        ["/bin/sh", "-c", f'"{sys.executable}" "{ROOT}/manage.py" eligibility {redirected}'],
        capture_output=True,
        timeout=60,
    )

    assert (done.returncode, done.stdout, done.stderr) == (code, b"", said)


def test_an_output_that_is_full_is_said_in_a_line() -> None:
    with open("/dev/full", "wb") as full:
        done = subprocess.run(
            [sys.executable, ROOT / "manage.py", "eligibility", TEST, "--on", "2026-11-20"],
            stdout=full,
            stderr=subprocess.PIPE,
            timeout=60,
        )

    assert (done.returncode, done.stderr) == (2, b"standard output: No space left on device\n")


def test_an_output_of_ascii_alone_gets_ascii(written: Callable[[Any], pathlib.Path]) -> None:
    record = json.loads(SOLO.read_text())
    record["documents"][0]["id"] = "Zeugnis für 飛行"
    path = written(record)
    plain = {"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0", "LC_ALL": "C"}

    table = start(path, *FIRST_SOLO, "--on", "2026-11-20", **plain)
    report = start(path, *FIRST_SOLO, "--on", "2026-11-20", "--json", **plain)
    fault = start(written({"format": "training-record/1", "飛行": 1}), **plain)

    assert (table.returncode, table.stderr) == (1, b"")
    assert b"x NOT ELIGIBLE on 2026-11-20" in table.stdout
    assert b"Zeugnis f\\xfcr \\u98db\\u884c" in table.stdout
    english = json.loads(report.stdout.decode("ascii"))["requirements"][1]
    assert english["counted"][0]["id"] == "Zeugnis für 飛行"
    assert fault.returncode == 2
    assert b": \\u98db\\u884c: unknown key" in fault.stderr


def test_each_example_of_the_help_runs() -> None:
    lines = eligibility.epilog().replace("\\\n", " ").splitlines()
    examples = [line.split("eligibility ", 1)[1].split() for line in lines if "manage.py" in line]

    assert len(examples) == 3
    for example in examples[:2]:
        code, out, err = ask(SOLO, *example[1:])
        assert (code, err) == (1, "")
        assert "NOT ELIGIBLE" in out


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("out", "no_color", "colored"),
    [(Terminal(), "", True), (Terminal(), "1", False), (io.StringIO(), "", False)],
)
def test_color_is_for_a_terminal_alone(
    out: io.StringIO, no_color: str, colored: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NO_COLOR", no_color)
    with pytest.raises(SystemExit):
        eligibility.Command(stdout=out, force_color=True).run_from_argv(
            ["manage.py", "eligibility", str(SOLO), *FIRST_SOLO, "--on", "2026-12-03"]
        )
    assert "ELIGIBLE" in out.getvalue()
    assert ("\x1b" in out.getvalue()) is colored
