"""Courses as YAML: every slip is named with its file and line, and what is written reads back the same."""

from __future__ import annotations

import hashlib
import io
import pathlib
import re
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from hypothesis import given
from hypothesis import strategies as st

from syllabus import models
from syllabus.courses import files, outlines
from syllabus.engine.course.course import CourseError
from tests.support.rows import over_rows

HOME = pathlib.Path(__file__).parents[3] / "fixtures" / "courses"
FILE = HOME / "private-airplane.yaml"
SOUND = """\
course: small
title: A small course
says: Two invented items
minimums:
  - {code: dual, kind: total_at_least, counts: [dual], need: 2 h, says: 2 hours dual}
stages:
  - code: only
    title: The only stage
    objective: To have one
    completion: Both lessons
    lessons:
      - code: "1"
        title: First
        objective: Begin
        completion: Begun
        times: {dual: 60 min, ground: 20 min}
        items:
          climbs: practice
      - code: "2"
        title: Second
        objective: Go on
        completion: Done
        times: {dual: 1.4 h, preparation: 1.4 h}
        items:
          pattern: practice
          climbs: perform
        plans: [faa.private-practical-test.towered-landings]
items:
  - code: climbs
    title: Climbs
    objective: Climb
    proves: [presolo.d-05]
    standard:
      - {name: airspeed, named: VY, low: -5 kt, high: +10 kt, source: a test, verified: memory}
      - {name: height, low: 500 ft, excluded: [low], basis: school, source: a test, verified: read}
      - {name: rollout, quantity: heading, value: 90.5 deg, low: -10 deg, high: 0 deg, source: a test}
  - code: pattern
    title: Pattern
    objective: Fly the pattern
    kind: stage check
    task: FAA-S-ACS-6C PA.III.B
    prerequisites: [climbs]
"""


def faults(text: str) -> list[str]:
    with pytest.raises(CourseError) as caught:
        files.read(text, "c.yaml")
    return [str(fault) for fault in caught.value.errors]


def changed(old: str, new: str) -> str:
    assert SOUND.count(old) >= 1, f"{old!r} is not in the sound course"
    return SOUND.replace(old, new, 1)


def without(line: str) -> str:
    return changed(line + "\n", "")


def line_of(text: str) -> int:
    return SOUND[: SOUND.index(text)].count("\n") + 1


def test_a_sound_course_is_read_and_written_the_same() -> None:
    outline = files.read(SOUND, "c.yaml")
    text = files.write(outline)
    assert files.read(text, "again.yaml") == outline
    assert files.write(files.read(text, "again.yaml")) == text
    assert list(outline.lessons[1].items) == ["pattern", "climbs"]
    airspeed, height, rollout = outline.by_code["climbs"].standard
    assert [str(each.low) for each in (airspeed, height, rollout)] == ["-5", "500", "-10"]
    assert (height.low_inclusive, height.basis, rollout.says) == (False, "school", "90.5° -10/0°")


def test_a_hash_names_the_text_of_the_file_and_stays_what_it_was() -> None:
    """Sign-offs and ledger entries refer to it: the text must never be written in another way."""
    outline = files.read(SOUND, "c.yaml")
    assert files.content_hash(outline) == (
        "sha256:07f6f68cc9c6edcdff0c54e5ff4d985ed1c55fcaf7b8a1079c3c2633d7ccb6cb"
    )
    shipped = files.read_bytes(FILE.read_bytes(), FILE.name)
    for each in (outline, shipped):
        text = files.write(each)
        assert files.content_hash(each) == "sha256:" + hashlib.sha256(text.encode()).hexdigest()


def test_the_shipped_course_is_read_and_written_the_same() -> None:
    outline = files.read_bytes(FILE.read_bytes(), FILE.name)
    text = files.write(outline)
    assert files.read(text, "again.yaml") == outline
    assert files.write(files.read(text, "again.yaml")) == text


@over_rows(
    ("text", "told"),
    [
        pytest.param("", ["c.yaml:1: the file is empty; a course starts with 'course:'"], id="nothing"),
        pytest.param("- a\n", [
            "c.yaml:1: the file is not a mapping; a course starts with 'course:'"
        ], id="a list"),
        pytest.param("a: [\n", ["c.yaml:2: not YAML: expected the node content, but found '<stream end>'"],
                     id="no YAML"),
        pytest.param(without("title: A small course"), ["c.yaml:1: 'title' is missing"], id="no title"),
        pytest.param(changed("says: Two", "say: Two"), [
            "c.yaml:3: unknown key 'say'; did you mean 'says'?", "c.yaml:1: 'says' is missing",
        ], id="a key misspelt"),
        pytest.param(changed("dual: 60 min", "dual: 60 minuets"), [
            "c.yaml:16: dual: 'minuets' in '60 minuets' is not a known unit: a time is written"
            " with one of h, hr, hrs, hour, hours, min, mins, minute, minutes, s, sec, second, seconds"
        ], id="a time in dances"),
        pytest.param(changed("dual: 60 min", "dual: 1.4"), [
            "c.yaml:16: dual: 1.4 needs a unit, such as '3 h'"
        ], id="a time without a unit"),
        pytest.param(changed("ground: 20 min", "gruond: 20 min"), [
            "c.yaml:16: 'gruond' is not a planned time; use one of dual, solo, cross_country,"
            " night, instrument,"
            " preparation, ground"
        ], id="a kind of time that is none"),
        pytest.param(changed("climbs: practice", "climb: practice"), [
            "c.yaml:18: lesson 1 plans 'climb', which is not an item"
        ], id="an item that is none, on its own line"),
        pytest.param(changed("climbs: practice", "climbs: good"), [
            "c.yaml:18: 'good' is not a grade; use one of describe, explain, practice, perform"
        ], id="a grade that is none"),
        pytest.param(changed("climbs: practice", "climbs: practice\n          climbs: explain"), [
            "c.yaml:19: 'climbs' occurs twice; keep one"
        ], id="an item twice in a lesson"),
        pytest.param(changed("preparation: 1.4 h", "preparation: 1.5 h"), [
            "c.yaml:23: 1.5 h of preparation in 1.4 h of dual"
        ], id="more preparation than dual"),
        pytest.param(changed("test.towered-landings", "test.towered"), [
            "c.yaml:27: 'faa.private-practical-test.towered' is not a requirement of the rulebook"
        ], id="a requirement that is none"),
        pytest.param(changed('code: "2"', 'code: "1"'), [
            "c.yaml:19: two lessons are called '1'; codes are unique in a course"
        ], id="two lessons of one code"),
        pytest.param(changed("proves: [presolo.d-05]", "proves: [presolo.d-16]"), [
            "c.yaml:32: 'presolo.d-16' is not an item that a rule requires"
        ], id="a proof of nothing"),
        pytest.param(changed("proves: [presolo.d-05]", "proves: [presolo.d-05, presolo.d-05]"), [
            "c.yaml:32: proves: 'presolo.d-05' occurs twice; keep one"
        ], id="a proof twice"),
        pytest.param(changed("prerequisites: [climbs]", "prerequisites: [pattern]"), [
            "c.yaml:42: circular prerequisites: pattern -> pattern"
        ], id="a circle"),
        pytest.param(changed("task: FAA-S-ACS-6C PA.III.B", "task: PA.III.B"), [
            "c.yaml:41: task: 'PA.III.B' is not a task of a test standard; write document, revision and code,"
            " such as FAA-S-ACS-6C PA.V.A"
        ], id="half a task"),
        pytest.param(changed("kind: stage check", "kind: swim"), [
            "c.yaml:40: 'swim' is not a kind of item; use one of flight, ground, stage check"
        ], id="a kind that is none"),
        pytest.param(changed("low: -5 kt", "low: 5 kt"), [
            "c.yaml:34: low: '5 kt' is relative to the target; write its sign, as in '+5 kt'"
        ], id="a limit without its sign"),
        pytest.param(changed("low: -5 kt", "low: -5"), [
            "c.yaml:34: low: -5 needs a unit, such as '65 kt' or 65"
        ], id="a limit without its unit"),
        pytest.param(changed("low: -5 kt", "low: -5 ft"), [
            "c.yaml:34: low: '5 ft' is a distance, but a speed is expected, such as '65 kt' or 65"
        ], id="a speed in feet"),
        pytest.param(changed("low: 500 ft", "low: -500 ft"), [
            "c.yaml:35: low: '-500 ft': a range has a minimum and a maximum, without signs"
        ], id="a range with a sign"),
        pytest.param(changed("low: 500 ft", "low: 500 m"), [
            "c.yaml:35: low: '500 m' is not exact in ft; write it in ft"
        ], id="metres that are no exact feet"),
        pytest.param(changed("excluded: [low]", "excluded: [high]"), [
            "c.yaml:35: excluded: 'high' is not a limit given here"
        ], id="a limit excluded that is none"),
        pytest.param(changed("basis: school", "basis: hearsay"), [
            "c.yaml:35: basis: 'hearsay' is not one of test standard, handbook, common practice, school"
        ], id="a basis that is none"),
        pytest.param(changed("verified: memory", "verified: probably"), [
            "c.yaml:34: verified: 'probably' is not one of read, second-hand, memory"
        ], id="a mark that is none"),
        pytest.param(changed("quantity: heading, ", ""), [
            "c.yaml:36: name: 'rollout' is not a quantity; say which it is with 'quantity', one of altitude,"
            " height, airspeed, heading, bank, touchdown, distance off, time, power, engine speed, turn rate"
        ], id="a quantity left out"),
        pytest.param(changed("named: VY", "named: VY, value: 70 kt"), [
            "c.yaml:34: value and named are given together; keep one"
        ], id="two targets"),
        pytest.param(changed("low: 500 ft, excluded: [low], ", ""), [
            "c.yaml:35: height: give the target (assigned, value, named) or a limit"
        ], id="neither target nor limit"),
        pytest.param(changed("high: 0 deg", "high: -11 deg"), [
            "c.yaml:36: rollout: the low limit is above the high one"
        ], id="limits the wrong way round"),
        pytest.param(changed("name: height", "name: airspeed"), [
            "c.yaml:35: low: '500 ft' is a distance, but a speed is expected, such as '65 kt' or 65"
        ], id="a name that is another quantity"),
        pytest.param(changed("need: 2 h", "need: 3 h"), [
            "c.yaml:5: 2 hours dual: the lessons plan 2.4 h, 0.6 h short"
        ], id="a minimum that is not planned"),
        pytest.param(changed("need: 2 h", "nede: 2 h"), [
            "c.yaml:5: total_at_least knows no 'nede'; it has counts, need, aircraft, landing_more_than,"
            " prepares_for, window, device_credit",
            "c.yaml:5: total_at_least needs 'need'",
        ], id="a parameter misspelt"),
        pytest.param(changed("kind: total_at_least", "kind: milestone"), [
            "c.yaml:5: 'milestone' is not a kind of minimum; use one of age_at_least, airport_open,"
            " certificate, cross_country_endorsement, deficiencies_reviewed, document, endorsement,"
            " items_at_standard, landings_at_least, medical, one_flight, retest, test_passed, total_at_least"
        ], id="a milestone as a minimum"),
        pytest.param(changed("title: Climbs", 'title: "Cl\\0mbs"'), [
            "c.yaml:30: title contains a character that is not text"
        ], id="a character that no database keeps"),
        pytest.param(changed("title: Climbs", f"title: {'C' * 201}"), [
            "c.yaml:30: title: 201 characters; at most 200 are allowed"
        ], id="a title too long"),
        pytest.param(changed("title: Climbs", "title: 2026-02-30"), [
            "c.yaml:30: '2026-02-30' is not a calendar date"
        ], id="a day that is none"),
        pytest.param(changed("title: Climbs", "title: [a]"), [
            "c.yaml:30: title: a list is not text; put it in quotes"
        ], id="a list for a title"),
        pytest.param(changed("        items:\n          climbs: practice\n", "        items: [climbs]\n"), [
            "c.yaml:17: items: a list is not a mapping"
        ], id="a list of items"),
    ],
)  # fmt: skip
def test_every_slip_is_named_with_file_and_line(text: str, told: list[str]) -> None:
    assert faults(text) == told


def test_all_slips_are_told_at_once() -> None:
    text = (
        changed("low: -5 kt", "low: 5 kt").replace("kind: stage check", "kind: 7").replace("1.4 h", "1.4", 1)
    )
    assert [fault.partition(": ")[0] for fault in faults(text)] == ["c.yaml:23", "c.yaml:34", "c.yaml:40"]


@given(
    line=st.integers(0, SOUND.count("\n")),
    word=st.sampled_from(
        ["", "7", "x: 1", "[", "- -", "~", "a: &a [*a]", "'", "no", "2026-01-01", "\t", "1e400"]
    ),
    keep=st.booleans(),
)
def test_a_line_of_anything_is_read_or_refused_with_its_place(line: int, word: str, keep: bool) -> None:
    lines = SOUND.split("\n")
    indent = re.match(" *", lines[line])
    lines[line] = f"{lines[line] if keep else indent[0] if indent else ''} {word}"
    try:
        files.read("\n".join(lines), "c.yaml")
    except CourseError as problem:
        lost = [str(fault) for fault in problem.errors if not re.fullmatch(r"c\.yaml:\d+", fault.place)]
    else:
        lost = []
    assert lost == []


def run(*args: Any, **options: Any) -> tuple[int, str, str]:
    """Exit code, output and errors of a command."""
    out, err = io.StringIO(), io.StringIO()
    try:
        call_command(*args, stdout=out, stderr=err, **options)
    except SystemExit as stopped:
        return int(str(stopped.code)), out.getvalue(), err.getvalue()
    except CommandError as problem:
        return problem.returncode, out.getvalue(), str(problem)
    return 0, out.getvalue(), err.getvalue()


@pytest.fixture
def file(tmp_path: pathlib.Path) -> pathlib.Path:
    path = tmp_path / "small.yaml"
    path.write_text(SOUND)
    return path


@pytest.mark.django_db
def test_a_course_is_imported_exported_and_imported_again_without_a_change(tmp_path: pathlib.Path) -> None:
    code, out, err = run("import_course", str(FILE), "--publish")
    assert (code, err) == (0, "")
    assert out.splitlines() == [
        "private-airplane version 1, a course that every school may use: published",
        "  4 stages, 29 lessons, 79 items",
        "  planned flight time 41.1 h total, 29.9 h dual, 11.2 h solo; 19.3 h on the ground",
        "  limits of its standards: 1 read, 21 second-hand, 40 memory; check the others against the"
        " test standard",
    ]
    target = tmp_path / "out.yaml"
    assert run("export_course", "private-airplane", str(target))[0] == 0
    code, out, _ = run("import_course", str(target))
    assert code == 0
    assert out.splitlines()[0].endswith("published; no changes")
    assert models.CourseVersion.objects.count() == 1
    assert run("export_course", "private-airplane")[1] == target.read_text()
    again = files.read_bytes(target.read_bytes(), "out.yaml")
    assert again == files.read_bytes(FILE.read_bytes(), FILE.name)


@pytest.mark.django_db
def test_a_faulty_course_is_refused_whole_with_code_2(file: pathlib.Path) -> None:
    file.write_text(changed("climbs: practice", "climb: practice"))
    code, out, err = run("import_course", str(file), "--publish")
    assert (code, out) == (2, "")
    assert err == f"{file}:18: lesson 1 plans 'climb', which is not an item\n"
    assert not models.Course.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("content", "says"),
    [
        pytest.param(None, "cannot be read: No such file or directory", id="no such file"),
        pytest.param(b"course: \xff\n", ":1: not UTF-8 text", id="no text"),
        pytest.param(b"# " + b"x" * 2_000_001, "2000003 bytes; a course has at most 2000000", id="too much"),
    ],
)
def test_what_is_no_course_file_is_refused_with_code_2(content, says: str, tmp_path: pathlib.Path) -> None:
    path = tmp_path / "c.yaml"
    if content is not None:
        path.write_bytes(content)
    code, _, err = run("import_course", str(path))
    assert code == 2
    assert err.startswith(str(path))
    assert says in err


@pytest.mark.django_db
def test_a_school_has_its_own_course_beside_the_products(file: pathlib.Path) -> None:
    assert run("import_course", str(file), "--school", "north", "--publish")[0] == 0
    code, out, _ = run("import_course", str(file))
    assert code == 0
    assert out.startswith("small version 1, a course that every school may use: a draft\n")
    assert outlines.newest("small", "north") is not None
    assert outlines.newest("small", None) is None
    code, _, err = run("import_course", str(file), "--school", "no such")
    assert (code, err) == (2, "--school: 'no such' is not the short name of a school, such as 'demo'\n")


@pytest.mark.django_db
def test_publishing_what_is_a_draft_already_publishes_it(file: pathlib.Path) -> None:
    run("import_course", str(file))
    run("import_course", str(file), "--publish")
    (version,) = models.CourseVersion.objects.all()
    assert (version.number, version.state) == (1, "published")


@pytest.mark.django_db
def test_an_export_names_what_there_is_instead(file: pathlib.Path, tmp_path: pathlib.Path) -> None:
    assert run("export_course", "small")[0::2] == (2, "No course 'small'. Known courses: none.")
    run("import_course", str(file), "--school", "north", "--publish")
    assert run("export_course", "small")[0::2] == (
        2, "No course 'small'. Known courses: small --school north.",
    )  # fmt: skip
    assert run("export_course", "small", "--school", "north", "--number", "2")[0::2] == (
        2, "small of north has no version 2. Its versions: 1.",
    )  # fmt: skip
    code, _, err = run("export_course", "small", str(tmp_path), "--school", "north")
    assert (code, err) == (2, f"{tmp_path}: cannot be written: Is a directory")
    file.write_text(changed("A small course", "A better course"))
    run("import_course", str(file), "--school", "north")
    assert "A small course" in run("export_course", "small", "--school", "north")[1]
    assert "A better course" in run("export_course", "small", "--school", "north", "--number", "2")[1]
