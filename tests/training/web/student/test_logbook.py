"""The logbook: its totals are the engine's, and it says what the record says."""

from __future__ import annotations

import copy
import datetime as dt
import re
import uuid
from typing import Any

import pytest
from django.test import Client
from knox.models import AuthToken

from syllabus.engine.record import document
from syllabus.engine.record.record import TIMES
from syllabus.engine.rules import facts
from syllabus.engine.time.units import format_time, parse_time
from tests.support import factories, lessons
from tests.support.cast import Cast
from tests.training.web.conftest import SAMS
from tests.training.web.test_pages import text_of
from training import models, record
from training.reports import logbook
from training.reports.logbook import Selection
from training.services.lessons import sign_offs
from training.services.records import records

MINUTE = 60_000_000


def flight(number: int, **more: Any) -> dict[str, Any]:
    """A flight of 7 minutes more than an hour, on a day of its own."""
    on = dt.date(2026, 1, 1) + dt.timedelta(days=number)
    said = {"id": f"f{number:03d}", "date": on.isoformat(), "times": {"total": "67 min", "dual": "67 min"}}
    return {**said, "aircraft": {"registration": "N00XY", "model": "C172"}, **more}


def holding(people: Cast, *flights: dict[str, Any], **more: Any) -> models.Student:
    said = {**SAMS, "flights": list(flights), "items": [], **more}
    return factories.attested(people.sam, document.parse(said), at=factories.NOON)


MIXED = (
    flight(1, landings=[{"landings": 3, "takeoffs": 3, "period": "day"}, {"landings": 2, "period": "night"}]),
    flight(2, times={"total": "1.0 h", "solo": "1.0 h", "pic": "1.0 h", "cross_country": "1.0 h"}),
    flight(3, aircraft={"model": "Trainer", "device": "AATD"}, times={"total": "0.8 h", "dual": "0.8 h"}),
    flight(4, landings=[{"landings": 1, "takeoffs": 1}], times={"total": "1.5 h", "night": "0.3 h"}),
)
GROUND = [{"id": "g1", "date": "2026-01-03", "time": "0.7 h", "topic": "Weather"}]


def table(answer: Any) -> tuple[list[str], list[list[str]], dict[str, list[str]]]:
    """The headings, the rows and the totals by their words, each cell as text."""
    body = answer.content.decode()

    def cells(row: str) -> list[str]:
        found = re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.S)
        return [" ".join(re.sub(r"<[^>]+>", " ", each).split()) for each in found]

    parts = [
        [cells(row) for row in re.findall(r"<tr>(.*?)</tr>", part, re.S)]
        for part in (
            re.findall(rf"<{name}>(.*?)</{name}>", body, re.S)[0] for name in ("thead", "tbody", "tfoot")
        )
    ]
    return parts[0][0], parts[1], {row[0]: row[1:] for row in parts[2]}


@pytest.mark.any_database  # others here make these queries on SQLite
def test_totals_are_those_of_the_engine_and_of_the_exported_record(taught: Cast) -> None:
    holding(taught, *MIXED, ground=GROUND)
    known = record.of(taught.sam)
    found = logbook.totals(logbook.lines(taught.sam, known))
    by_engine = facts.flown(known).logging
    exported = records.export_document(taught.sam, by=taught.ida, at=factories.NOON, via="test")
    for kind in TIMES:
        assert found[kind] == sum(facts.logged(each, kind) or 0 for each in by_engine[kind]), kind
        said = [
            each["times"].get(kind, "0 h") for each in exported["flights"] if "device" not in each["aircraft"]
        ]
        assert found[kind] == sum(map(parse_time, said)), kind
    assert found["total"] == (67 + 60 + 90) * MINUTE
    assert (found["device"], found["ground"]) == (48 * MINUTE, 42 * MINUTE)
    assert [found[each] for each in logbook.LANDINGS] == [3, 2, 1]
    in_short = logbook.in_short([taught.sam])[taught.sam.pk]
    assert {kind: found[kind] for kind in logbook.IN_SHORT} | {"last": dt.date(2026, 1, 5)} == in_short


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(
    ("selection", "days"),
    [
        pytest.param(Selection(first=dt.date(2026, 1, 3)), [3, 3, 4, 4, 5], id="from a day on"),
        pytest.param(Selection(last=dt.date(2026, 1, 3)), [2, 3, 3], id="up to a day"),
        pytest.param(Selection(aircraft="n00xy"), [2, 3, 5], id="in any letter case"),
        pytest.param(Selection(aircraft="Trainer"), [4], id="without a registration by the model"),
        pytest.param(Selection(kind="night"), [5], id="with night"),
        pytest.param(Selection(kind="device"), [4], id="in a device"),
        pytest.param(Selection(kind="dual"), [2], id="dual in an aircraft, not in a device"),
        pytest.param(Selection(kind="ground"), [3], id="ground lessons"),
    ],
)
def test_what_is_selected(taught: Cast, selection: Selection, days: list[int]) -> None:
    ground = [*GROUND, {"id": "g2", "date": "2026-01-04", "time": "0 h"}]
    holding(taught, *MIXED, ground=ground)
    every = logbook.lines(taught.sam, record.of(taught.sam))
    assert [each.entry.date.day for each in logbook.selected(every, selection)] == days


def test_a_page_brings_forward_what_the_pages_before_it_add_up_to(client: Client, taught: Cast) -> None:
    holding(taught, *(flight(number) for number in range(1, 46)))
    client.force_login(taught.sams_account)
    address = f"/students/{taught.sam.ref}/logbook/"
    head, rows, sums = table(client.get(address))  # the last page, as a book is opened
    total, running = head.index("Total") - 2, head.index("Total to date")
    assert len(rows) == 5
    # 40, 5 and 45 times 67 minutes, each sum exact; two places where they are exact
    assert [sums[each][total - 1] for each in ("Brought forward", "This page", "To date")] == [
        "44.6",
        "5.5",
        "50.25",
    ]
    assert [rows[0][running], rows[-1][running]] == ["45.7", "50.25"]
    head, rows, sums = table(client.get(address, {"page": "1"}))
    assert "Brought forward" not in sums
    assert (len(rows), sums["This page"][total - 1], sums["All pages"][total - 1]) == (20, "22.3", "50.25")
    _, rows, _ = table(client.get(address, {"page": "all"}))
    assert len(rows) == 45


def test_a_filter_is_kept_from_page_to_page_and_an_error_is_beside_its_field(
    client: Client, taught: Cast
) -> None:
    holding(taught, *(flight(number) for number in range(1, 46)))
    client.force_login(taught.ida)
    address = f"/students/{taught.sam.ref}/logbook/"
    page = client.get(address, {"from": "2026-01-12", "aircraft": "N00XY"})
    assert "35 of 45 entries selected." in text_of(page)
    assert "?from=2026-01-12&amp;aircraft=N00XY&amp;page=1" in page.content.decode()
    wrong = client.get(address, {"from": "yesterday"})
    assert wrong.status_code == 422
    assert 'id="from_error"' in wrong.content.decode()


def test_a_device_is_in_no_total_and_its_time_is_in_brackets(client: Client, taught: Cast) -> None:
    holding(taught, *MIXED, ground=GROUND)
    client.force_login(taught.sams_account)
    head, rows, sums = table(client.get(f"/students/{taught.sam.ref}/logbook/"))
    [row] = [each for each in rows if "Trainer" in each[1]]
    assert (row[head.index("Dual")], row[head.index("Training device")]) == ("(0.8)", "0.8")
    assert sums["To date"][head.index("Dual") - 3] == "1.1"
    assert "Landings, day or night not entered" in head


def test_a_corrected_lesson_is_there_once_with_a_mark(client: Client, people: Cast) -> None:
    first = lessons.signed(people)
    said = copy.deepcopy(lessons.CONTENT)
    said["flight"]["times"] = {"total": "1.2 h", "dual": "1.2 h"}
    draft = sign_offs.correct(
        first, id=uuid.uuid4(), reason="misread", content=said, by=people.ida, at=lessons.AT, via="web"
    )
    lessons.sign(draft, people.ida)
    client.force_login(people.sams_account)
    head, rows, _ = table(client.get(f"/students/{people.sam.ref}/logbook/"))
    flights = [each for each in rows if each[1].startswith("N00XY")]
    assert [each[head.index("Total")] for each in flights] == ["1.2"]
    assert "corrected" in flights[0][0]


def test_the_header_page_lists_an_instructors_students_with_totals(client: Client, taught: Cast) -> None:
    holding(taught, *MIXED)
    factories.student(taught.school, taught_by=taught.ida, name="Tess Example")
    client.force_login(taught.ida)
    read = models.AccessLog.objects.filter(what="logbook")
    page = text_of(client.get("/logbook/"))
    assert "Sam Example" in page
    assert "3.6" in page  # 217 minutes
    assert "5 Jan 2026" in page
    assert "Tess Example" in page
    assert "Otto" not in page
    assert read.count() == 2
    client.force_login(taught.sams_account)
    assert client.get("/logbook/")["Location"] == f"/students/{taught.sam.ref}/logbook/"


def test_the_api_says_the_same(client: Client, taught: Cast) -> None:
    holding(taught, *MIXED, ground=GROUND)
    address = f"/api/v1/students/{taught.sam.ref}/logbook"
    token = AuthToken.objects.create(user=taught.ida)[1]

    def get(**query: str) -> Any:
        return client.get(address, query, headers={"Authorization": f"Token {token}"})

    found = get().json()
    assert found["entries"] == 5
    assert found["times"]["total"] == format_time(217 * MINUTE)
    assert found["landings"] == {"day_landings": 3, "night_landings": 2, "landings_of_unknown_period": 1}
    assert get(time="night", **{"from": "2026-01-05"}).json()["times"]["night"] == "0.3 h"
    assert get(time="instrument").status_code == 422
