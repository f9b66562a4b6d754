"""``manage.py check_rules`` and the checks behind it: a slip in the data is named with its file and line."""

from __future__ import annotations

import io
import pathlib
import re
from collections.abc import Callable

import pytest
from django.core.management import call_command

from syllabus.engine.errors import RuleDataError
from syllabus.law import rulebook
from tests.support.rows import over_rows

FILE = "ex/solo.yaml"
#: An invented authority's rule of two versions; its lines are counted below.
SOUND = """\
milestone: ex.solo
title: Solo
says: Fly alone
order: 1
context: [aircraft_model]
requirements:
  - id: night
    kind: total_at_least
    counts: [dual, night]
    versions:
      - from: 2001-03-01
        need: 3 h
        says: 3 hours of night training
        cite: {section: 900.12(b), source: "1 EX 101", read_on: 2026-08-20}
        verified: read
      - from: 2014-09-01
        need: 5 h
        says: 5 hours of night training
        cite: {section: 900.12(c), source: "14 EX 207", read_on: 2026-08-20}
        verified: second-hand
"""
OTHER = """\
milestone: ex.other
title: Other
says: Do another thing
context: []
requirements:
  - id: solo
    kind: milestone
    versions:
      - from: 2001-03-01
        milestone: ex.solo
        says: All of solo
        cite: {section: 900.13(a), source: "1 EX 101", read_on: 2026-08-20}
        verified: memory
"""

Written = Callable[..., pathlib.Path]


@pytest.fixture
def written(tmp_path: pathlib.Path) -> Written:
    """Writes files by their path below an empty folder, and gives the folder."""

    def write(**files: str | bytes) -> pathlib.Path:
        for name, text in files.items():
            path = tmp_path / "ex" / f"{name}.yaml"
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return tmp_path

    return write


def faults(home: pathlib.Path) -> list[str]:
    with pytest.raises(RuleDataError) as caught:
        rulebook.load(home)
    return [str(fault) for fault in caught.value.errors]


def changed(old: str, new: str, text: str = SOUND) -> str:
    assert text.count(old) >= 1, f"{old!r} is not in the sound data"
    return text.replace(old, new, 1)


def without(line: str) -> str:
    return changed(line + "\n", "")


def test_sound_data_is_read_with_its_dates_joined_up(written: Written) -> None:
    rules = rulebook.load(written(solo=SOUND, other=OTHER))

    old, new = rules.milestone("ex.solo").requirements[0].versions
    assert [str(old.first), str(old.last), str(new.first), new.last] == [
        "2001-03-01",
        "2014-08-31",
        "2014-09-01",
        None,
    ]
    assert rules.id.startswith("sha256:")


CASES = [
    pytest.param(
        changed("total_at_least", "total_at_lest"),
        [
            "ex/solo.yaml:8: unknown kind 'total_at_lest'; use one of age_at_least, airport_open,"
            " certificate, cross_country_endorsement, deficiencies_reviewed, document, endorsement,"
            " items_at_standard, landings_at_least, medical, milestone, one_flight, retest, test_passed,"
            " total_at_least"
        ],
        id="a kind that is none",
    ),
    pytest.param(
        without("    kind: total_at_least"), ["ex/solo.yaml:7: 'kind' is missing"], id="no kind at all"
    ),
    pytest.param(without("title: Solo"), ["ex/solo.yaml:1: 'title' is missing"], id="no title"),
    pytest.param(
        changed("order: 1", "ordre: 1"),
        ["ex/solo.yaml:4: unknown key 'ordre'; did you mean 'order'?"],
        id="a key misspelt at the top",
    ),
    pytest.param(
        changed("order: 1", "order: 1\nrole: solo-flight"),
        [
            "ex/solo.yaml:5: role: 'solo-flight' is not one of solo, solo-cross-country, solo-night,"
            " solo-class-b, knowledge-test, practical-test"
        ],
        id="a role that is none",
    ),
    pytest.param(
        changed("    counts:", "    plain: 3\n    expiring: ' '\n    counts:"),
        ["ex/solo.yaml:9: plain: 3 is not text; put it in quotes", "ex/solo.yaml:10: expiring is blank"],
        id="words that are none",
    ),
    pytest.param(
        changed("    counts:", "    colour: red\n    counts:"),
        [
            "ex/solo.yaml:9: unknown key 'colour'; use one of id, kind, plain, expiring, versions,"
            " counts, need, aircraft, landing_more_than, prepares_for, window, device_credit"
        ],
        id="a key no kind has",
    ),
    pytest.param(
        changed("        need: 5 h", "        needs: 5 h"),
        [
            "ex/solo.yaml:17: unknown key 'needs'; did you mean 'need'?",
            "ex/solo.yaml:16: total_at_least needs 'need'",
        ],
        id="a key misspelt in a version leaves its number missing",
    ),
    pytest.param(
        without('        cite: {section: 900.12(b), source: "1 EX 101", read_on: 2026-08-20}'),
        ["ex/solo.yaml:11: 'cite' is missing"],
        id="no citation",
    ),
    pytest.param(
        changed('source: "1 EX 101"', 'source: ""'),
        ["ex/solo.yaml:14: source is blank"],
        id="a citation without a source",
    ),
    pytest.param(
        changed("section: 900.12(b)", "section: 900.12"),
        ["ex/solo.yaml:14: section: 900.12 is not text; put it in quotes"],
        id="a section that YAML takes for a number",
    ),
    pytest.param(
        changed("read_on: 2026-08-20", 'read_on: "20 August"'),
        ["ex/solo.yaml:14: read_on: '20 August' is not a date; write it like 2026-11-24, without quotes"],
        id="a day of reading that is no date",
    ),
    pytest.param(
        changed("        says: 5 hours of night training", "        says:"),
        ["ex/solo.yaml:18: says: nothing is not text; put it in quotes"],
        id="no words",
    ),
    pytest.param(
        changed("        verified: read\n", ""),
        ["ex/solo.yaml:11: 'verified' is missing"],
        id="no mark of verification",
    ),
    pytest.param(
        changed("verified: second-hand", "verified: surely"),
        ["ex/solo.yaml:20: verified: 'surely' is not one of read, second-hand, memory"],
        id="a mark of verification that is none",
    ),
    pytest.param(
        changed("        need: 3 h", "        until: 2014-08-30\n        need: 3 h"),
        [
            "ex/solo.yaml:12: ex.solo.night runs until 2014-08-30 and its next version starts 2014-09-01:"
            " none is in force on 2014-08-31"
        ],
        id="a gap of one day",
    ),
    pytest.param(
        changed("        need: 3 h", "        until: 2014-07-31\n        need: 3 h"),
        [
            "ex/solo.yaml:12: ex.solo.night runs until 2014-07-31 and its next version starts 2014-09-01:"
            " none is in force on 2014-08-01 to 2014-08-31"
        ],
        id="a gap of a month",
    ),
    pytest.param(
        changed("        need: 3 h", "        until: 2014-09-01\n        need: 3 h"),
        [
            "ex/solo.yaml:12: ex.solo.night runs until 2014-09-01 and its next version starts 2014-09-01:"
            " both are in force on 2014-09-01"
        ],
        id="an overlap of one day",
    ),
    pytest.param(
        changed("from: 2014-09-01", "from: 2000-09-01"),
        [
            "ex/solo.yaml:16: ex.solo.night: the version from 2000-09-01 comes after the one from"
            " 2001-03-01; the oldest comes first"
        ],
        id="versions in the wrong order",
    ),
    pytest.param(
        changed("from: 2014-09-01", "from: 2001-03-01"),
        [
            "ex/solo.yaml:16: ex.solo.night: the version from 2001-03-01 comes after the one from"
            " 2001-03-01; the oldest comes first"
        ],
        id="two versions from the same day",
    ),
    pytest.param(
        changed("        need: 5 h", "        until: 2014-08-31\n        need: 5 h"),
        ["ex/solo.yaml:17: ex.solo.night ends 2014-08-31, before it starts on 2014-09-01"],
        id="a version that ends before it starts",
    ),
    pytest.param(
        changed("from: 2014-09-01", "from: 2014-02-30"),
        [
            "ex/solo.yaml:16: '2014-02-30' is not a calendar date",
        ],
        id="a day that does not exist",
    ),
    pytest.param(
        changed("from: 2014-09-01", "from: 2014-09-01 10:00:00"),
        [
            "ex/solo.yaml:16: from: 2014-09-01 10:00:00 is not a date; write it like"
            " 2026-11-24, without quotes",
        ],
        id="an instant where a day is wanted",
    ),
    pytest.param(
        changed("need: 5 h", "need: five"),
        [
            "ex/solo.yaml:17: need: 'five' does not start with a number; write for example"
            " '1.4 h', '84 min', '1:24' or 1.4"
        ],
        id="a quantity that is none",
    ),
    pytest.param(
        changed("need: 5 h", "need: 5"),
        ["ex/solo.yaml:17: need: 5 needs a unit, such as '3 h'"],
        id="a quantity without its unit",
    ),
    pytest.param(
        changed("need: 5 h", "need: 5 NM"),
        [
            "ex/solo.yaml:17: need: '5 NM' is a distance, but a time is expected, such as"
            " '1.4 h', '84 min', '1:24' or 1.4"
        ],
        id="a unit of the wrong dimension",
    ),
    pytest.param(
        changed("counts: [dual, night]", "counts: [dual, nite]"),
        [
            "ex/solo.yaml:9: counts: 'nite' is not one of total, dual, solo, pic, cross_country, night,"
            " actual_instrument, simulated_instrument, instrument"
        ],
        id="what all versions share is a fault once",
    ),
    pytest.param(
        changed("    versions:\n", "    window: 2 month\n    versions:\n"),
        ["ex/solo.yaml:10: window: '2 month' is not a window such as '60 day' or '2 calendar month'"],
        id="a window counted in months that are not of the calendar",
    ),
    pytest.param(
        changed("context: [aircraft_model]", "context: [airplane, {a: b}]"),
        [
            "ex/solo.yaml:5: unknown context 'airplane'; use one of aircraft_model, category, class, path, "
            "application_date, route, airport, area",
            "ex/solo.yaml:5: unknown context a mapping; use one of aircraft_model, category, class, path, "
            "application_date, route, airport, area",
        ],
        id="a context nobody can give",
    ),
    pytest.param(
        changed("milestone: ex.solo", "milestone: ex.sole"),
        ["ex/solo.yaml:1: 'ex.sole' is in the file of 'ex.solo'; make them agree"],
        id="a milestone in a file of another name",
    ),
    pytest.param(
        changed("order: 1", "order: true"),
        ["ex/solo.yaml:4: order: True is not a whole number"],
        id="a truth where a number is wanted",
    ),
    pytest.param(
        SOUND[: SOUND.index("  - id")].replace("requirements:", "requirements: []"),
        ["ex/solo.yaml:6: requirements is empty; at least one is needed"],
        id="no requirement",
    ),
    pytest.param(
        SOUND[: SOUND.index("      - from")].replace("versions:", "versions: 2001"),
        ["ex/solo.yaml:10: versions: 2001 is not a list"],
        id="versions that are no list",
    ),
    pytest.param(
        SOUND[: SOUND.index("      - from")] + "      - 2001-03-01\n",
        ["ex/solo.yaml:10: versions: 2001-03-01 is not a mapping"],
        id="a version that is no mapping",
    ),
    pytest.param(
        SOUND + SOUND[SOUND.index("  - id") :],
        ["ex/solo.yaml:21: two requirements are called ex.solo.night"],
        id="two requirements of one name",
    ),
    pytest.param(
        changed("order: 1", "order: 1\norder: 2"),
        ["ex/solo.yaml:5: 'order' occurs twice; keep one"],
        id="a key that stands twice",
    ),
    pytest.param(
        changed("order: 1", "? [a, b]\n: 1"),
        ["ex/solo.yaml:4: a key is a word, not a list or a mapping"],
        id="a key that is no word",
    ),
    pytest.param(
        "",
        ["ex/solo.yaml:1: the file is empty; regulation data starts with 'milestone:'"],
        id="an empty file",
    ),
    pytest.param(
        "- a\n- b\n",
        ["ex/solo.yaml:1: the file is not a mapping; regulation data starts with 'milestone:'"],
        id="a list",
    ),
    pytest.param(
        changed("  - id: night", "  - id: [night"),
        ["ex/solo.yaml:8: not YAML: did not find expected ',' or ']'"],
        id="not YAML",
    ),
    pytest.param(
        SOUND + "---\n" + SOUND,
        ["ex/solo.yaml:21: not YAML: but found another document"],
        id="two documents in one file",
    ),
    pytest.param(
        changed("title: Solo", "title: So\x07lo"),
        ["ex/solo.yaml:2: not YAML: contains a control character"],
        id="a control character",
    ),
    pytest.param(
        changed("title: Solo", "title: &a [*a]"),
        ["ex/solo.yaml:1: not readable YAML: it nests without end"],
        id="an alias that holds itself",
    ),
    pytest.param(
        changed("title: Solo", "title: !!python/object/apply:os.getcwd []"),
        ["ex/solo.yaml:2: title: a list is not text; put it in quotes"],
        id="a tag that would run code is not even looked at",
    ),
    pytest.param(
        SOUND.replace("Solo", "S\u00f6lo").encode("latin-1"),
        ["ex/solo.yaml:2: not UTF-8 text"],
        id="not UTF-8",
    ),
]


@over_rows(("text", "said"), CASES)
def test_a_slip_in_the_data_is_named_with_file_and_line(
    written: Written, text: str | bytes, said: list[str]
) -> None:
    assert faults(written(solo=text)) == said


@pytest.mark.parametrize(
    ("files", "said"),
    [
        pytest.param(
            {"other": OTHER},
            ["ex/other.yaml:10: ex.other needs 'ex.solo', which is in no file"],
            id="a milestone that needs one that is not there",
        ),
        pytest.param(
            {"other": changed("milestone: ex.solo", "milestone: ex.other", OTHER)},
            ["ex/other.yaml:10: circular milestones: ex.other -> ex.other"],
            id="a milestone that needs itself",
        ),
        pytest.param(
            {
                "other": OTHER,
                "solo": OTHER.replace("ex.solo", "ex.x")
                .replace("ex.other", "ex.solo")
                .replace("ex.x", "ex.other"),
            },
            ["ex/solo.yaml:10: circular milestones: ex.other -> ex.solo -> ex.other"],
            id="two milestones that need each other, said once",
        ),
        pytest.param(
            {
                "solo": changed("need: 5 h", "need: 5"),
                "other": changed("order", "ordre", OTHER.replace("context", "order: 1\ncontext")),
            },
            [
                "ex/other.yaml:4: unknown key 'ordre'; did you mean 'order'?",
                "ex/solo.yaml:17: need: 5 needs a unit, such as '3 h'",
            ],
            id="the faults of all files at once",
        ),
    ],
)
def test_milestones_are_checked_together(written: Written, files: dict[str, str], said: list[str]) -> None:
    assert faults(written(**files)) == said


@pytest.mark.parametrize("name", ["solo.yaml", "ex/solo.yml", "ex/deep/solo.yaml"])
def test_a_file_in_the_wrong_place_is_not_passed_over(written: Written, name: str) -> None:
    home = written(solo=SOUND)
    (home / name).parent.mkdir(exist_ok=True)
    (home / name).write_text(SOUND)

    assert faults(home) == [f"{name}: is not read; rule data belongs in <authority>/<milestone>.yaml"]


def run(*arguments: str) -> tuple[int, str, str]:
    out, err, code = io.StringIO(), io.StringIO(), 0
    try:
        call_command("check_rules", *arguments, stdout=out, stderr=err)
    except SystemExit as end:
        code = int(str(end.code))
    return code, out.getvalue(), err.getvalue()


def test_the_command_counts_what_it_read_and_lists_what_nobody_read_in_the_text(written: Written) -> None:
    home = written(solo=SOUND, other=OTHER)

    code, out, err = run(str(home))

    assert (code, err) == (0, "")
    assert out == (
        "ex/other.yaml: ex.other, 1 requirement, 1 version (1 memory)\n"
        "ex/solo.yaml: ex.solo, 1 requirement, 2 versions (1 read, 1 second-hand)\n"
        "\n"
        "Not read in the text itself; check these before relying on them:\n"
        "  memory: ex.other.solo from 2001-03-01, 900.13(a)\n"
        "      known from: 1 EX 101\n"
        "  second-hand: ex.solo.night from 2014-09-01, 900.12(c)\n"
        "      known from: 14 EX 207\n"
        "\n"
        "2 milestones, 2 requirements, 3 versions (1 read, 1 second-hand, 1 memory), rulebook"
        f" {rulebook.load(home).id}\n"
    )


def test_the_command_names_each_fault_by_a_path_one_can_open(written: Written) -> None:
    home = written(solo=changed("need: 5 h", "need: 5").replace("title: Solo\n", ""))

    code, out, err = run(str(home))

    assert (code, out) == (2, "")
    assert err.splitlines() == [
        f"{home}/ex/solo.yaml:16: need: 5 needs a unit, such as '3 h'",
        f"{home}/ex/solo.yaml:1: 'title' is missing",
    ]


@pytest.mark.parametrize("folder", ["nowhere", ""])
def test_a_folder_without_regulations_is_a_fault(tmp_path: pathlib.Path, folder: str) -> None:
    code, out, err = run(str(tmp_path / folder))

    assert (code, out) == (2, "")
    assert err.startswith(str(tmp_path / folder).rstrip("/") + ": ")
    assert "<authority>/<milestone>.yaml" in err
    assert len(err.splitlines()) == 1


def test_the_projects_own_regulations_pass_and_every_doubtful_version_is_listed() -> None:
    code, out, err = run()

    rules = rulebook.current()
    doubtful = [
        version.id
        for milestone in rules.milestones.values()
        for requirement in milestone.requirements
        for version in requirement.versions
        if version.verified != "read"
    ]
    assert (code, err) == (0, "")
    assert re.findall(r"^  (?:second-hand|memory): (\S+) from", out, re.MULTILINE) == doubtful
    assert out.endswith(f"rulebook {rules.id}\n")


def test_the_id_changes_with_the_data_and_not_with_its_layout(written: Written) -> None:
    before = rulebook.load(written(solo=SOUND)).id

    assert rulebook.load(written(solo="# a comment\n" + SOUND.replace("order: 1", "order:   1"))).id == before
    assert rulebook.load(written(solo=changed("need: 5 h", "need: 5.0 h"))).id != before
