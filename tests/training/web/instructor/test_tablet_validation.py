"""The tablet refuses of a sheet what the server refuses, and nothing else: a table through both."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from tests.support import courses, factories, lessons
from tests.support.browsing import Watched, add_session
from tests.support.cast import Cast
from training.web.instructor import sheet_check
from training.web.instructor.opening import Taught
from training.web.instructor.sheet import CLOCK

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

#: Every row replaces these values of one sheet.
GOOD = {
    "flown": "dual",
    "date": "2026-03-02",
    "registration": "N00XY",
    "off": "1300",
    "on": "1424",
    "route": "KGRB KMTW KGRB",
    "t-total": "1.4",
}
ROWS: list[dict[str, str]] = [
    {},
    # times
    *({"t-total": text} for text in ("1.4 h", "84 min", "1:24", "84", "1.1234567", "1,4", "1:75", "1.4 kt")),
    *(
        {"t-total": text}
        for text in ("-1", "1e3", "90 m", "2.5 hrs", "30 s", "1.4h", "1.4  h", "100000 h", "abc")
    ),
    *({"t-night": text} for text in ("1.5", "1.4", "1:25", "0")),
    {"t-dual": "1.0", "t-solo": "0.4"},
    {"t-actual_instrument": "0.9", "t-simulated_instrument": "0.9"},
    {"t-total": "", "t-night": "9"},
    # days
    *({"date": text} for text in ("", "2026-02-30", "2026-3-2", "03/02/2026", "1899-12-31", "2200-01-01")),
    *({"date": text} for text in ("2024-02-29", "2100-02-28", "%(today)s", "%(tomorrow)s")),
    # the clock
    *({"off": text} for text in ("13:00", "7:05", "0705", "2400", "25:00", "13.00", "noon", "")),
    {"off": "2350", "on": "0110"},
    {"out": "1255", "in": "1430"},
    {"out": "1x"},
    # identifiers, short ones and others
    *(
        {"route": text}
        for text in ("GRB MTW", "grb - mtw", "KGRB, KM26", "GR KMTW", "X KGRB", "KZZZ", "", "KANC")
    ),
    *({"route": text} for text in ("M26", "PANC", "ABCDEFGHI", "00AA K00AA", " ".join(["KGRB"] * 101))),
    *({"landing-0-at": text, "landing-0-landings": "1"} for text in ("GRB", "KGRB", "ZZ", "KG RB", "")),
    *(
        {"landing-0-at": "KGRB", "landing-0-landings": text}
        for text in ("3", "-1", "2.5", "10001", "two", "")
    ),
    *({"landing-0-at": "ZZ", "landing-0-landings": text} for text in ("0", "")),
    # the aircraft
    *({"registration": text} for text in ("N" * 200, "N" * 201, "")),
    *({"category": text} for text in ("airplane", "Airplane", "plane")),
    *({"class": text} for text in ("single-engine land", "SEL")),
    *({"device": text} for text in ("FTD", "sim")),
    *({"remarks": "x" * length} for length in (10_000, 10_001)),
    *({"comments": "x" * length} for length in (10_000, 10_001)),
    # the ground
    *({"ground-time": text} for text in ("0.5", "0,5", "30 min", "half")),
    {"flown": "none", "ground-time": "0.5", "date": ""},
    {"flown": "none", "ground-time": "0.5", "date": "", "ground-date": "2026-03-02"},
    {"ground-topic": "wind", "ground-date": "2026-13-01"},
    {"ground-topic": "wind", "ground-date": "%(tomorrow)s"},
    {"flown": "none", "date": "", "t-total": "nonsense", "route": "ZZ"},
    # measured values
    *({"item-0-m-0-unit": "ft", "item-0-m-0-value": text} for text in ("180", "-20", "1,5", "5 kt", "3 nm")),
    *(
        {"item-0-m-0-value": text}
        for text in (
            *("180 ft", "180", "-180 ft", "lost 180 ft", "180 ft lost", "- 180 ft low", "3,320 ft", "3,3 ft"),
            *(
                "12° late",
                "360° in 2 min 9 s",
                "360° in 0 s",
                "360 in 2 min",
                "14:20",
                "2 min 9 s",
                "9 s 2 min",
            ),
            *(
                "38 deg",
                "95 kt",
                "150 rpm",
                "65 %",
                "3 deg/s",
                "5 nm",
                "5 NM",
                "about 5 ft",
                "magneto drop 100 rpm",
            ),
            *(
                "±20 ft",
                "100 rpm low",
                "altitude 3320 ft",
                "rolled out 5° left",
                "5 ft 3",
                "x" * 201,
                "5 min 7 min",
            ),
        )
    ),
    *(
        {"item-0-m-0-value": "3320 ft", "item-0-m-0-target": text}
        for text in ("3,500 ft", "3500", "95 kt", "high", "14:20", "1066 m")
    ),
]
#: Sets the fields of the sheet and gives the names of those that the tablet refuses.
REFUSED = """async (rows) => {
  const { errorsOf } = await import("/static/training/tablet/check.js");
  const store = await import("/static/training/tablet/store.js");
  const airports = await store.airports();
  const form = document.querySelector("form.sheet");
  const data = JSON.parse(form.dataset.sheet);
  const before = [...new FormData(form)].filter(([name]) => !name.startsWith("t-"));
  return rows.map((row) => {
    for (const [name, text] of [...before, ...Object.entries(row)]) form.elements[name].value = text;
    for (const input of form.querySelectorAll("[name^=t-]")) input.value = row[input.name] || "";
    const given = Object.fromEntries(new FormData(form));
    return { given, wrong: errorsOf(form, data, airports) };
  });
}"""


def sheet_with_a_table_of_airports(page: Page, at: str, people: Cast, entry: object) -> None:
    add_session(page, at, people.ida)
    page.goto(f"{at}/today/")
    expect(page.locator("html[data-along]")).to_have_count(1)
    page.goto(f"{at}/teach/{people.sam.ref}/lessons/{entry}/")


def test_the_tablet_and_the_server_refuse_the_same(
    watched: Watched, school: Cast, live_server: LiveServer
) -> None:
    courses.enrolled(school)
    factories.aircraft(school.school, registration="N00XY", model="C172")
    measured = {"odd": {"value": "5 ft", "target": "6 ft"}}
    said = {"items": [{"item": "presolo.d-02", "grade": "perform", "measured": measured}]}
    draft = lessons.draft(school, said, lesson="1-01", at=dt.datetime(2026, 3, 9, 18, tzinfo=dt.UTC))
    today = school.school.day(timezone.now())
    days = {"today": today.isoformat(), "tomorrow": (today + dt.timedelta(days=1)).isoformat()}
    rows = [
        {name: text % days if "%(" in text else text for name, text in {**GOOD, **row}.items()}
        for row in ROWS
    ]
    sheet_with_a_table_of_airports(watched.page, live_server.url, school, draft.pk)

    found: list[dict[str, Any]] = watched.page.evaluate(REFUSED, rows)

    taught = Taught(school.sam, school.ida, timezone.now())
    apart: list[tuple[Mapping[str, str], list[str], Mapping[str, Any]]] = []
    refused = 0
    for row, tablet in zip(ROWS, found, strict=True):
        server = set(sheet_check.look(taught, draft, tablet["given"]).errors)
        if "date" in server:
            server -= set(CLOCK)  # what hangs on the day is said once on the tablet
        refused += bool(server)
        if server != set(tablet["wrong"]):
            apart.append((row, sorted(server), tablet["wrong"]))
    assert apart == []
    assert 40 < refused < len(ROWS) - 40
