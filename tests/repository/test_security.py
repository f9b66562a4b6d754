"""The section Security of DEVELOPERS.md: its tests and files exist, and it has every item of the standard."""

import ast
import collections
import pathlib
import re

ROOT = pathlib.Path(__file__).resolve().parents[2]
SECTION = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("\n# Security\n")[1]
STATES = {"met", "partly", "not met", "not checked", "n/a"}
#: How many items of levels 1 and 2 each section of the standard has. Those of level 3 come last in each.
ITEMS = {
    1: (2, 9, 11, 3, 2),
    2: (3, 3, 4, 1),
    3: (0, 2, 4, 6, 5, 0, 2),
    4: (3, 1, 2, 4),
    5: (1, 3, 2, 3),
    6: (3, 12, 4, 4, 5, 3, 0, 4),
    7: (3, 4, 2, 5, 2, 2),
    8: (2, 3, 1, 1),
    9: (3, 4),
    10: (2, 2, 4, 11, 5, 2, 3),
    11: (2, 3, 3, 4, 1, 1, 0),
    12: (3, 2, 4),
    13: (1, 5, 2, 5),
    14: (2, 4, 3),
    15: (3, 3, 7, 0),
    16: (1, 5, 4, 3, 3),
    17: (1, 4, 2),
}


def rows() -> list[list[str]]:
    """Number, words, state and place of each item."""
    lines = re.findall(r"^\| (\d+\.\d+\.\d+) \|(.*)\|$", SECTION, re.MULTILINE)
    return [[number, *(each.strip() for each in rest.split("|"))] for number, rest in lines]


def functions_of(path: pathlib.Path) -> set[str]:
    return {
        each.name
        for each in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(each, ast.FunctionDef)
    }


def test_every_test_and_file_that_is_named_exists() -> None:
    named = re.findall(r"`((?:[\w.-]+/)+[\w.-]+)(?:::(\w+))?`", SECTION)
    assert len({test for _, test in named}) > 60
    for path, test in named:
        if path.startswith("5.0/") or path == "OWASP/ASVS":  # of the standard
            continue
        assert (ROOT / path).exists(), path
        assert not test or test in functions_of(ROOT / path), f"{path}::{test}"


def test_every_item_of_level_2_has_its_row() -> None:
    wanted = [
        f"{chapter}.{section}.{item}"
        for chapter, sections in ITEMS.items()
        for section, items in enumerate(sections, 1)
        for item in range(1, items + 1)
    ]
    assert len(wanted) == 253
    assert [row[0] for row in rows()] == wanted


def test_every_row_has_a_state_and_says_where_or_why() -> None:
    for row in rows():
        assert len(row) == 4, row
        assert row[2] in STATES, row
        assert row[1], row
        assert row[3], row


def test_the_counts_are_those_of_the_rows() -> None:
    counted = collections.Counter(row[2] for row in rows())
    told = re.search(r"^Counts: (.*)\.$", SECTION, re.MULTILINE)
    assert told is not None
    assert {state: int(number) for number, state in re.findall(r"(\d+) ([^,]+)", told[1])} == counted
