"""The cases of ``wrong_yes.yaml``: a lawful record, small changes to it, and the answer of the law."""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from fnmatch import fnmatchcase
from functools import cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from tests.examiner.asking import Question
from tests.examiner.lawful import ASKED_ON, BASES, lawful
from tests.examiner.writing import AIR_FORCE, BO, CY, FOREIGN, GIL, IDA, Habits
from tests.syllabus.engine.building import read_yaml

HERE = Path(__file__).parent
NOT_TRUE = "not true"
EXPECTED = {False: "false", None: "null", True: "true", "refused": "refused", NOT_TRUE: NOT_TRUE}
NAMED = {"IDA": IDA, "BO": BO, "CY": CY, "GIL": GIL, "FOREIGN": FOREIGN, "AIR_FORCE": AIR_FORCE}
_DAY = re.compile(r"D([+-]\d+)?(?: (\d\d):(\d\d))?")
_KEYS = {
    "id", "base", "options", "habits", "by_option", "on", "context", "edits", "expect", "law", "why",
}  # fmt: skip
CLOCK = ZoneInfo("America/Chicago")


@dataclass(frozen=True)
class Case:
    """One changed record; ``expect`` is a word of EXPECTED."""

    id: str
    row: Mapping[str, Any]
    expect: str

    @property
    def base(self) -> Question:
        return _base(*_base_key(self.row))

    @property
    def question(self) -> Question:
        asked = self.base
        document = copy.deepcopy(asked.document)
        for edit in self.row.get("edits", ()):
            _edited(document, edit)
        context = {**asked.context, **_written(self.row.get("context", {}))}
        context = {key: value for key, value in context.items() if value is not None}
        on = date.fromisoformat(_written(self.row.get("on", "D")))
        return Question(self.id, asked.milestone, on, context, document)


def _base_key(row: Mapping[str, Any]) -> tuple[str, str, str]:
    """A base with its options and habits, in a form that can be compared."""
    return (
        row["base"],
        json.dumps(row.get("options", {}), sort_keys=True),
        json.dumps(row.get("habits", {}), sort_keys=True),
    )


@cache
def _base(name: str, options: str, habits: str) -> Question:
    chosen = json.loads(habits)
    if "born" in chosen:
        chosen["born"] = date.fromisoformat(chosen["born"])
    return lawful(name, ASKED_ON, Habits(**chosen), **json.loads(options))


def _written(value: Any) -> Any:
    """A value of a case as the document has it: days, times of day and instructors written out."""
    if isinstance(value, Mapping):
        return {key: _written(each) for key, each in value.items()}
    if isinstance(value, list):
        return [_written(each) for each in value]
    if not isinstance(value, str):
        return value
    if value in NAMED:
        return dict(NAMED[value])
    if found := _DAY.fullmatch(value):
        day = ASKED_ON + timedelta(days=int(found[1] or 0))
        if found[2]:
            at = datetime(day.year, day.month, day.day, int(found[2]), int(found[3]), tzinfo=CLOCK)
            return at.isoformat()
        return day.isoformat()
    return value


def _entries(
    document: Mapping[str, Any], ids: str, only: list[str] | None
) -> list[tuple[str, dict[str, Any]]]:
    """The entries whose id matches, each with its part. A change that finds none is a fault of the corpus."""
    parts = {part: entries for part, entries in document.items() if isinstance(entries, list)}
    found = [
        (part, entry)
        for part, entries in parts.items()
        for entry in entries
        if fnmatchcase(entry["id"], ids) and (only is None or part in only)
    ]
    assert found, f"no entry is called {ids}"
    return found


def _within(entry: Any, path: str) -> tuple[Any, Any]:
    """The mapping or list that holds a dotted key, and the key or index in it."""
    *above, last = path.split(".")
    for key in above:
        entry = entry[int(key)] if isinstance(entry, list) else entry[key]
    return entry, int(last) if isinstance(entry, list) else last


def _edited(document: dict[str, Any], edit: Mapping[str, Any]) -> None:
    left = set(edit) - {"only"}
    only = edit.get("only")
    if left == {"student"}:
        for key, value in edit["student"].items():
            document["student"][key] = value
            if value is None:
                del document["student"][key]
    elif left == {"remove"}:
        for part, entry in _entries(document, edit["remove"], only):
            document[part].remove(entry)
    elif left == {"add", "entry"}:
        given = _written(edit["entry"])
        like = given.pop("like", None)
        entry = copy.deepcopy(_entries(document, like, None)[0][1]) if like else {}
        entry.update(given)
        document[edit["add"]].append({key: value for key, value in entry.items() if value is not None})
    else:
        assert left in ({"at", "set"}, {"at", "drop"}, {"at", "set", "drop"}), (
            f"unknown change {sorted(left)}"
        )
        for _, entry in _entries(document, edit["at"], only):
            for path in edit.get("drop", ()):
                holder, key = _within(entry, path)
                if isinstance(holder, dict) and edit["at"] != entry["id"]:
                    holder.pop(key, None)  # several entries, of which some may not have it
                else:
                    del holder[key]
            for path, value in edit.get("set", {}).items():
                holder, key = _within(entry, path)
                holder[key] = copy.deepcopy(_written(value))


@cache
def cases() -> tuple[Case, ...]:
    """Every case of the file, checked for its keys."""
    rows = read_yaml(HERE / "wrong_yes.yaml")["cases"]
    for row in rows:
        name = row.get("id")
        assert set(row) <= _KEYS, f"{name}: unknown {sorted(set(row) - _KEYS)}"
        assert row["base"] in BASES, name
        assert row["law"], name
        assert row["expect"] in EXPECTED, f"{name}: unknown answer {row['expect']!r}"
        assert (row["expect"] != NOT_TRUE) or row.get("why"), f"{name}: say why it is open"
    return tuple(Case(row["id"], row, EXPECTED[row["expect"]]) for row in rows)


def bases() -> Iterator[tuple[str, Question]]:
    """Every lawful record that a case starts from, once, by a name that says its options and habits."""
    seen: set[tuple[str, str, str]] = set()
    for case in cases():
        key = _base_key(case.row)
        if key not in seen and not case.row.get("by_option"):
            seen.add(key)
            yield " ".join(each for each in key if each != "{}"), _base(*key)
