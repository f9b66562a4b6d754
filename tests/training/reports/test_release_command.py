"""``manage.py release``: the answer for a record document and a planned flight."""

import json
from pathlib import Path

import pytest

from training.management.commands.release import Command

RECORD = "fixtures/records/every-key.json"
FLIGHT = {
    "aircraft": {"registration": "N1", "model": "C172", "category": "airplane"},
    "route": "KGRB",
    "off": "2026-11-20T12:00:00-06:00",
    "on": "2026-11-20T13:00:00-06:00",
    "weather": {"metars": ["KGRB 201753Z 24010KT 2SM BR BKN025 02/M01 A2992"]},
}


def asked(tmp_path: Path, flight: dict[str, object], *options: str) -> int:
    file = tmp_path / "flight.json"
    file.write_text(json.dumps(flight))
    line = ["manage.py", "release", RECORD, "--flight", str(file), "--on", "2026-11-20T12:00:00-06:00"]
    with pytest.raises(SystemExit) as left:
        Command().run_from_argv([*line, *options])
    return int(left.value.code or 0)


def test_what_is_not_met_comes_first(tmp_path, capsys):
    code, out = asked(tmp_path, FLIGHT), capsys.readouterr().out

    assert code == 1
    assert out.startswith("Not every line is met.\nValid until 2026-11-20T19:08:00+00:00\n")
    assert out.index(
        "NOT MET Visibility at KGRB: 2 SM (METAR KGRB 201753Z); at least 3 SM (14 CFR 61.89(a)(6))"
    ) < out.index("unknown")
    assert "not a permission to fly" in out


def test_as_json(tmp_path, capsys):
    assert asked(tmp_path, FLIGHT, "--json") == 1

    found = json.loads(capsys.readouterr().out)
    assert found["met"] is False
    assert [line["id"] for line in found["lines"] if line["met"] is False] == ["visibility:KGRB"]


def test_every_error_is_named(tmp_path, capsys):
    assert asked(tmp_path, {**FLIGHT, "route": "ZZZZZ", "of": 1}) == 2

    errors = capsys.readouterr().err
    assert "no airport has the identifier 'ZZZZZ'" in errors
    assert "of: unknown key" in errors
