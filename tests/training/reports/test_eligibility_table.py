"""The report as a table of plain text: what it says, how wide it is, and what it keeps short."""

from __future__ import annotations

import copy
import json
import pathlib
import re
from dataclasses import replace
from datetime import date
from functools import cache
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len as cells

from syllabus.engine.record import document
from syllabus.engine.record.record import Record
from syllabus.engine.rules.aircraft_models import folded
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.rules.question import Context, context_from
from syllabus.engine.rules.reasons import Limit, NotCovered, Reason, reason, several
from syllabus.engine.rules.report import CAUTION, Report
from syllabus.engine.time.amounts import distance
from syllabus.law import rulebook
from tests.support.any_record import names, records
from training.management.eligibility_table import READER, named, render, render_all
from training.management.plain_text import clean, encodable
from training.presenters.grouped import grouped

RECORDS = pathlib.Path(__file__).parents[3] / "fixtures" / "records"
DAY = date(2026, 11, 20)
MODEL = {"aircraft_model": "C172"}
MILESTONES = tuple(rulebook.current().milestones)


@cache
def written(name: str) -> dict[str, Any]:
    return json.loads((RECORDS / f"{name}.json").read_text(encoding="utf-8"))


def asked(record: dict[str, Any], milestone: str, on: date = DAY, context: dict[str, str] = MODEL) -> Report:
    return evaluate(rulebook.current(), document.parse(record), milestone, on, context=context_from(context))


def hostile() -> dict[str, Any]:
    """A record whose ids are as long, as wide and as strange as the document lets them be."""
    record = copy.deepcopy(written("before-practical-test"))
    for flight, name in zip(
        record["flights"],
        ("飛行" * 60, "x" * 200, "e\u0301" * 90, "\x1b[31mred\x1b[0m\nnew", "\u202eback"),
        strict=False,
    ):
        flight["id"] = name
        flight.pop("instructor", None)
    record["flights"][5]["route"] = ["KOSH", {"name": "a field of no known position " * 6}, "KOSH"]
    record["flights"][5]["times"]["cross_country"] = "1.0 h"
    record["tests"][0]["aircraft_model"] = "飛" * 100
    return record


@pytest.mark.parametrize("width", [60, 61, 79, 80, 99, 100, 132])
@pytest.mark.parametrize("milestone", MILESTONES)
@pytest.mark.parametrize("name", ["before-first-solo", "before-practical-test", "hostile"])
def test_no_line_is_wider_than_asked(name: str, milestone: str, width: int) -> None:
    record = hostile() if name == "hostile" else written(name)
    report = asked(record, milestone)

    for text in (render(report, width), render_all([report], width)):
        lines = text.split("\n")
        assert max(map(cells, lines)) <= width
        assert not any(ch in text for ch in "\x1b\r\t\u202e")
        assert lines == [line.rstrip() for line in lines]


@given(
    record=records(),
    milestone=st.sampled_from(MILESTONES),
    on=st.dates(date(1997, 8, 4), date(2199, 12, 31)),
    width=st.integers(60, 140),
    aircraft=st.none() | names,
    area=st.none() | names,
)
def test_whatever_is_on_record_the_table_keeps_its_width_and_its_lines(
    record: Record, milestone: str, on: date, width: int, aircraft: str | None, area: str | None
) -> None:
    context = Context(aircraft, area=area)
    try:
        report = evaluate(rulebook.current(), record, milestone, on, context=context)
    except NotCovered:  # a holder of another certificate, or a model flown that is of another category
        asked_about = folded(aircraft or "")
        held = [each for each in record.flights if folded(each.aircraft.model or "") != asked_about]
        student = replace(record, certificates=(), flights=tuple(held))
        report = evaluate(rulebook.current(), student, milestone, on, context=context)

    for text in (render(report, width), render_all([report], width)):
        lines = text.split("\n")
        assert max(map(cells, lines)) <= width
        assert all(line == clean(line) for line in lines)
    assert render(report, width).count("\n✗ not met ") >= len(report.unmet()) - [
        finding.met(on) for finding in report.leaves()
    ].count(None)


def test_a_width_too_narrow_for_words_is_taken_as_sixty() -> None:
    report = asked(written("before-first-solo"), "faa.first-solo")

    assert render(report, 3) == render(report, 60)


def row(text: str, name: str) -> str:
    """The lines of one requirement, from its name to the next state."""
    found = re.search(rf"^[✓✗?] .*?\b{name}: (.|\n)*?(?=\n[✓✗?] |\n─)", text, re.MULTILINE)
    assert found, f"no row {name}"
    return found[0]


def test_a_row_says_state_amounts_citation_and_reasons() -> None:
    text = render(asked(written("before-practical-test"), "faa.private-practical-test"))

    assert row(text, "dual-night").split("\n") == [
        "✗ not met  dual-night: 3 hours of night flight training in a single-engine airplane. 14 CFR",
        "           61.109(a)(2) [5]",
        "           ███████░░░ 2.2 h             3.0 h             0.8 h",
        "           counts      f18 (2.2 h)",
        "           not counted f19: 1.0 h of night computed from off and on, but none is logged",
    ]
    assert "missing     f23: whether the landing at KVOK was a full stop" in row(
        text, "long-solo-cross-country"
    )
    assert "3.3 h             3.0 h             –                 2026-11-30" in row(text, "preparation")
    assert "9 takeoffs, 9     10 takeoffs, 10   1 takeoff, 1\n" in row(text, "night-landings")


def test_lessons_of_85_minutes_add_up_to_decimal_hours() -> None:
    record = copy.deepcopy(written("before-practical-test"))
    [night] = [each for each in record["flights"] if each["id"] == "f18"]
    night["times"]["night"] = "85 min"
    text = render(asked(record, "faa.private-practical-test"))

    lines = row(text, "dual-night").split("\n")
    assert lines[2] == "           ████░░░░░░ 1.4 h             3.0 h             1.6 h"
    assert lines[3] == "           counts      f18 (1.4 h)"


def test_the_summary_says_what_remains_and_what_expires_first() -> None:
    text = render(asked(written("before-practical-test"), "faa.private-practical-test"))

    assert text.split("\n")[4:10] == [
        "✗ NOT ELIGIBLE on 2026-11-20: 17 of 23 requirements met, 4 not met and 2 unknown.",
        "  With nothing more recorded: on no later day.",
        "  First to expire: preparation, on 2026-11-30 (14 CFR 61.109(a)(4)).",
        "  Remaining: deficiencies-reviewed (a question); dual-night 0.8 h; night-landings 1 takeoff, 1",
        "  landing; dual-instrument 0.2 h; long-solo-cross-country (a question); prerequisites-endorsement 1",
        "  endorsement.",
    ]


@pytest.mark.parametrize(
    ("on", "context", "said"),
    [
        pytest.param(
            "2026-12-02", MODEL,
            "✗ NOT ELIGIBLE on 2026-12-02: 7 of 8 requirements met and 1 not met.\n"
            "  With nothing more recorded: from 2026-12-03, through 2027-02-06.\n",
            id="the day before the birthday says from when, and until when",
        ),
        pytest.param(
            "2026-12-03", MODEL,
            "✓ ELIGIBLE on 2026-12-03: 8 of 8 requirements met.\n"
            "  With nothing more recorded it stays so through 2027-02-06.\n"
            "  First to expire: solo-endorsement, on 2027-02-06 (14 CFR 61.87(n)).\n",
            id="the birthday itself",
        ),
        pytest.param(
            "2027-02-07", MODEL,
            "✗ NOT ELIGIBLE on 2027-02-07: 7 of 8 requirements met and 1 not met.\n"
            "  With nothing more recorded: on no later day.\n",
            id="the day after the endorsement ended",
        ),
        pytest.param(
            "2026-12-03", {},
            "? NOT KNOWN on 2026-12-03: 5 of 8 requirements met and 3 unknown.\n"
            "  A missing fact could change this; see below what is missing.\n",
            id="no airplane named",
        ),
    ],
)  # fmt: skip
def test_the_summary_gives_one_of_three_answers(on: str, context: dict[str, str], said: str) -> None:
    text = render(asked(written("before-first-solo"), "faa.first-solo", date.fromisoformat(on), context))

    assert said in text


#: Which line of the row has the amounts, for the names below.
AMOUNTS = {"age": 1, "solo-endorsement": 2}


@pytest.mark.parametrize(
    ("on", "name", "said"),
    [
        pytest.param("2026-11-20", "age", "from 2026-12-03", id="what time alone will mend"),
        pytest.param("2026-12-03", "age", "no end", id="what never lapses"),
        pytest.param("2027-02-06", "solo-endorsement", "2027-02-06", id="the last day"),
        pytest.param("2027-02-07", "solo-endorsement", "ended 2027-02-06", id="what has lapsed"),
    ],
)
def test_a_row_says_when_it_lapses(on: str, name: str, said: str) -> None:
    text = render(asked(written("before-first-solo"), "faa.first-solo", date.fromisoformat(on)))

    assert (
        row(text, name).split("\n")[AMOUNTS[name]].endswith(f"    {said}" if len(said) < 12 else f"  {said}")
    )


def test_a_nested_milestone_is_indented_and_its_gaps_are_named_by_it() -> None:
    text = render(asked(written("before-first-solo"), "faa.solo-night"))

    assert "✗ not met  first-solo: Everything that solo flight in this make and model asks for" in text
    assert "✗ not met    age: At least 16 years old" in text
    assert "Remaining: first-solo.age 1 year; night-endorsement 1 endorsement." in text
    assert "of 9 requirements met" in text


def test_marks_and_notes_stand_once_below_the_table() -> None:
    text = render(asked(written("before-first-solo"), "faa.solo-cross-country"))
    table, _, legend = text.rpartition("─" * 100)

    assert "61.89(d) [2nd] [3]" in table
    said = " ".join(table.split())
    assert "14 CFR 61.87(d) [5]" in said
    assert "14 CFR 61.93(e) [5]" in said
    assert legend.count("[2nd]") == 1
    numbers = sorted(set(re.findall(r" (\[\d+\])$", table, re.MULTILINE)))
    assert numbers == re.findall(r"^\[\d+\]", legend, re.MULTILINE)
    assert "[5]      The rule names no grade" in legend
    assert " ".join(legend.split()).endswith(CAUTION)


def test_what_rests_on_memory_is_marked_and_said_below_the_table() -> None:
    text = render(
        asked(written("before-first-solo"), "faa.solo-class-b", context={**MODEL, "area": "Chicago"})
    )
    table, _, legend = text.rpartition("─" * 100)

    assert "appendix D, section 4; 91.131(b) [memory]" in table
    assert legend.count("[memory]") == 1


def test_without_doubtful_rules_there_is_no_legend_for_them() -> None:
    text = render(asked(written("before-first-solo"), "faa.private-knowledge-test"))

    assert "[2nd]" not in text
    assert "[memory]" not in text


#: What colors a text on a terminal.
CODES = re.compile(r"\x1b\[\d+m")


def test_color_adds_nothing_that_is_needed() -> None:
    report = asked(written("before-practical-test"), "faa.private-practical-test")
    colored, every = render(report, color=True), render_all([report], color=True)

    assert re.search("^\x1b\\[31m✗ not met *\x1b\\[0m *dual-night: ", colored, re.MULTILINE)
    assert every.count("\x1b[31m") == 1
    assert CODES.sub("", colored) == render(report)
    assert CODES.sub("", every) == render_all([report])


def test_a_bar_is_full_only_where_the_requirement_is_met() -> None:
    record = copy.deepcopy(written("before-first-solo"))
    record["items"][0]["grade"] = "practice"
    solo = asked(record, "faa.first-solo")
    record = copy.deepcopy(written("before-practical-test"))
    record["flights"][9]["times"]["simulated_instrument"] = "0.59 h"
    test = asked(record, "faa.private-practical-test")

    assert "█████████░ 14 items          15 items          1 item" in row(render(solo), "maneuvers")
    assert "█████████░ 2.99 h            3.0 h             0.01 h" in row(render(test), "dual-instrument")
    assert "██████████ 1 document" in row(render(solo), "english")


def test_many_entries_left_out_for_one_reason_take_one_line() -> None:
    record = copy.deepcopy(written("before-practical-test"))
    template, purposes = record["flights"][0], ["practical-test-preparation:private"]
    for number in range(40):
        record["flights"].append(
            {
                **template,
                "id": f"x{number}",
                "date": f"2026-07-{number % 28 + 1:02d}",
                "purposes": purposes,
            }
        )
    text = row(render(asked(record, "faa.private-practical-test")), "preparation")

    assert "not counted x0, x28, x1 and 38 more: flown 2026-07-01 to 2026-08-31, before the window" in text
    assert len(text.split("\n")) < 12


DUAL, NIGHT = reason("flight.no-dual"), reason("flight.no-night")


def leg(hundredths: int) -> Reason:
    return reason("flight.leg-more-than", distance=distance(hundredths), limit=Limit(5_000))


@pytest.mark.parametrize(
    ("said", "groups"),
    [
        pytest.param((), [], id="nothing"),
        pytest.param(
            (("a", DUAL), ("b", NIGHT), ("c", DUAL)),
            [(["a", "c"], "no dual time is logged"), (["b"], "no night time is logged")],
            id="one reason, one line, in the order of the first",
        ),
        pytest.param(
            (("a", leg(4_990)), ("b", leg(1_200)), ("c", leg(4_990))),
            [
                (["a", "c"], "longest leg 49.9 NM; more than 50 NM is required"),
                (["b"], "longest leg 12 NM; more than 50 NM is required"),
            ],
            id="three entries keep their own figures",
        ),
        pytest.param(
            tuple((entry, leg(nm)) for entry, nm in zip("abcd", (950, 4_990, 2_000, 1_000), strict=True)),
            [(["a", "b", "c", "d"], "longest leg 9 NM (a) to 49.9 NM (b); more than 50 NM is required")],
            id="four give the range, with the entries at its ends",
        ),
        pytest.param(
            tuple(
                (entry, reason("endorsement.for-flight", flown=date(2026, month, 1)))
                for entry, month in zip("abcd", (3, 1, 4, 2), strict=True)
            ),
            [(["a", "b", "c", "d"], "for the flight of 2026-01-01 to 2026-04-01")],
            id="days as a range",
        ),
        pytest.param(
            tuple(
                (entry, several((DUAL, reason("holds.through", day=date(2026, month, 1)))))
                for entry, month in zip("abcd", (3, 1, 4, 2), strict=True)
            ),
            [(["a", "b", "c", "d"], "no dual time is logged; valid through 2026-01-01 to 2026-04-01")],
            id="days in a reason in a reason",
        ),
        pytest.param(
            tuple(
                (entry, reason("conflict.foreign-instructor", place=place))
                for entry, place in zip("abcd", ("KOSH", "KMSN", "KISW", "KVOK"), strict=True)
            ),
            [
                (
                    [entry],
                    f"which is right: an instructor authorized by another country, and {place}, which is in"
                    " this one",
                )
                for entry, place in zip("abcd", ("KOSH", "KMSN", "KISW", "KVOK"), strict=True)
            ],
            id="words that differ are not merged",
        ),
    ],
)  # fmt: skip
def test_reasons_are_grouped(
    said: tuple[tuple[str, Reason], ...], groups: list[tuple[list[str], str]]
) -> None:
    assert grouped(said, READER) == groups


@pytest.mark.parametrize(
    ("count", "said"),
    [(1, "f1"), (4, "f1, f2, f3, f4"), (5, "f1, f2, f3 and 2 more"), (15, "f1, f2, f3 and 12 more")],
)
def test_a_long_list_of_entries_is_cut(count: int, said: str) -> None:
    assert named([f"f{number}" for number in range(1, count + 1)]) == said


@pytest.mark.parametrize(
    ("text", "shown"),
    [("f1", "f1"), ("\x1b[2J", "\\x1b[2J"), ("a\nb", "a\\nb"), ("\u202e", "\\u202e"), ("Zoë 飛", "Zoë 飛")],
)
def test_what_could_steer_a_terminal_is_shown_as_an_escape(text: str, shown: str) -> None:
    assert clean(text) == shown


@pytest.mark.parametrize(
    ("text", "encoding", "shown"),
    [
        ("✓ met – 飛", "utf-8", "✓ met – 飛"),
        ("✓ met ✗ █░", "ascii", "+ met x #."),
        ("Zoë", "latin-1", "Zoë"),
        ("Zoë 飛", "ascii", "Zo\\xeb \\u98db"),
        ("✓", None, "+"),
    ],
)
def test_an_output_without_the_signs_gets_plainer_ones(text: str, encoding: str | None, shown: str) -> None:
    assert encodable(text, encoding) == shown


def test_every_milestone_stands_in_a_row_with_its_first_gap() -> None:
    text = render_all([asked(written("before-practical-test"), each) for each in MILESTONES])

    assert text.split("\n")[2:14] == [
        "✗ not          faa.first-solo                           4 of 8      0 of 8      on no day",
        "                 first gap: knowledge-test",
        "✗ not          faa.solo-cross-country                   8 of 12     0 of 12     on no day",
        "                 first gap: knowledge-test",
        "✗ not          faa.solo-night                           5 of 9      0 of 9      on no day",
        "                 first gap: knowledge-test",
        "✗ not          faa.solo-class-b                         5 of 11     0 of 11     on no day",
        "                 first gap: knowledge-test",
        "✓ eligible     faa.private-knowledge-test               0 of 3      0 of 3      from 2026-11-20",
        "✗ not          faa.private-practical-test               4 of 23     2 of 23     on no day",
        "                 first gap: dual-night 0.8 h",
        "─" * 100,
    ]


def test_the_first_gap_is_a_question_only_where_nothing_is_missing_for_sure() -> None:
    report = asked(written("before-first-solo"), "faa.first-solo", date(2026, 12, 3), {})

    lines = [" ".join(line.split()) for line in render_all([report]).split("\n")]
    assert lines[2:4] == [
        "? unknown faa.first-solo 0 of 8 3 of 8 on no day",
        "first gap: knowledge-test (?)",
    ]
