"""What the columns of a table of flights contain, and how the file writes it."""

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from django.utils.translation import gettext_noop as _

from syllabus.engine.record.reading import Errors
from training.services.imports.flight_files import Table

#: The targets of a column: key, label on the page, and the headings that suggest it.
TARGETS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("date", _("Day of the flight"), ("date", "day", "flight date")),
    ("out", _("Out (first movement)"), ("out", "out time", "block out")),
    ("off", _("Off"), ("off", "takeoff", "off time", "departure time")),
    ("on", _("On"), ("on", "landing", "on time", "arrival time")),
    ("in", _("In (at rest)"), ("in", "in time", "block in")),
    ("registration", _("Airplane's registration"), ("registration", "aircraft", "ident", "tail number")),
    ("model", _("Make and model"), ("model", "type", "aircraft type", "make and model")),
    ("category", _("Category"), ("category",)),
    ("class", _("Class"), ("class",)),
    ("device", _("Training device (FFS, FTD, AATD, BATD)"), ("device",)),
    ("from", _("From"), ("from", "departure", "dep", "origin")),
    ("via", _("Via"), ("via", "stops")),
    ("to", _("To"), ("to", "arrival", "arr", "destination")),
    ("route", _("Whole route"), ("route",)),
    ("total", _("Total time"), ("total", "total time", "duration", "flight time")),
    ("dual", _("Dual received"), ("dual", "dual received", "training received")),
    ("solo", _("Solo"), ("solo",)),
    ("pic", _("Pilot in command"), ("pic", "pilot in command")),
    ("cross_country", _("Cross-country"), ("cross country", "cross-country", "xc")),
    ("night", _("Night"), ("night",)),
    ("actual_instrument", _("Actual instrument"), ("actual instrument", "actual")),
    ("simulated_instrument", _("Simulated instrument"), ("simulated instrument", "hood")),
    ("takeoffs_day", _("Takeoffs by day"), ("takeoffs by day", "day takeoffs")),
    ("landings_day", _("Landings by day, all"), ("landings by day", "day landings")),
    ("full_stops_day", _("Landings by day to a full stop"), ("full stops by day", "day full stops")),
    ("takeoffs_night", _("Takeoffs at night"), ("takeoffs at night", "night takeoffs")),
    ("landings_night", _("Landings at night, all"), ("landings at night", "night landings")),
    ("full_stops_night", _("Landings at night to a full stop"), ("full stops at night", "night full stops")),
    ("instructor", _("Instructor's name"), ("instructor", "cfi", "instructor name")),
    ("certificate", _("Instructor's certificate number"), ("certificate", "instructor certificate")),
    (
        "authority",
        _("Instructor's kind (flight, ground, foreign, armed-forces)"),
        ("kind of instructor", "instructor kind"),
    ),
    ("remarks", _("Remarks"), ("remarks", "comments", "notes")),
    ("id", _("The flight's own id"), ("id", "entry id")),
)
LABELS = {key: label for key, label, _ in TARGETS}
#: How dates may be written: a pattern with named groups, and a label.
DATES: Mapping[str, tuple[str, str]] = {
    "iso": (r"(?P<y>\d{4})-(?P<m>\d{2})-(?P<d>\d{2})", _("year-month-day, 2026-03-02")),
    "mdy": (r"(?P<m>\d{1,2})/(?P<d>\d{1,2})/(?P<y>\d{4})", _("month/day/year, 3/2/2026")),
    "dmy": (r"(?P<d>\d{1,2})/(?P<m>\d{1,2})/(?P<y>\d{4})", _("day/month/year, 2/3/2026")),
    "dots": (r"(?P<d>\d{1,2})\.(?P<m>\d{1,2})\.(?P<y>\d{4})", _("day.month.year, 2.3.2026")),
}
CLOCKS = {"local": _("the school's clock"), "utc": _("UTC")}
UNITS = {"h": _("hours (1.4, or 1:24)"), "min": _("minutes (84)")}
CRAFTS: Mapping[str, tuple[dict[str, str], str]] = {
    "": ({}, _("leave it unknown")),
    "sel": ({"category": "airplane", "class": "single-engine land"}, _("airplane, single-engine land")),
    "mel": ({"category": "airplane", "class": "multiengine land"}, _("airplane, multiengine land")),
}
#: Further facts about an instructor, with their keys in the record document.
OF_INSTRUCTOR = {"certificate": "certificate", "authority": "kind"}


@dataclass(frozen=True, slots=True)
class Asked:
    """Which column (counted from 0) holds what, and how the file writes it."""

    columns: Mapping[str, int]
    dates: str = "iso"
    clock: str = "local"
    unit: str = "h"
    craft: str = ""


def suggest(table: Table) -> dict[str, int]:
    """The columns whose headings say what they contain; each target once."""
    found: dict[str, int] = {}
    plain = [" ".join(re.sub(r"[_().:/]", " ", each).lower().split()) for each in table.header]
    for key, label, meant in TARGETS:
        for index, heading in enumerate(plain):
            if heading in (*meant, label.lower(), key.replace("_", " ")) and index not in found.values():
                found[key] = index
                break
    return found


def suggest_dates(table: Table, mapping: Mapping[str, int]) -> str:
    """The date format of the first dates, if only one fits; else ``iso``."""
    if "date" not in mapping:
        return "iso"
    cells = [cells[mapping["date"]].strip() for _, cells in table.rows[:200]]
    fits = [
        name
        for name, (pattern, _) in DATES.items()
        if cells
        and all((hit := re.fullmatch(pattern, cell, re.ASCII)) and int(hit["m"]) <= 12 for cell in cells)
    ]
    return fits[0] if len(fits) == 1 else "iso"


def mapping_errors(table: Table, asked: Asked) -> Errors:
    """The errors of a mapping, each with its target."""
    found = Errors()
    if "date" not in asked.columns:
        found.add("date", "choose the column with the day of the flight")
    if not set(asked.columns) & {"total", "dual", "solo", "pic"}:
        found.add("total", "choose at least one column with a time")
    if "route" in asked.columns and set(asked.columns) & {"from", "via", "to"}:
        found.add("route", "choose either the whole route, or from, via and to")
    for key, name in OF_INSTRUCTOR.items():
        if key in asked.columns and "instructor" not in asked.columns:
            found.add(key, f"an instructor's {name} needs a name; choose the column with the name too")
    for index, times in Counter(asked.columns.values()).items():
        if times > 1:
            both = [key for key, at in asked.columns.items() if at == index]
            words = " and ".join(LABELS[key] for key in both)
            found.add(both[-1], f"column {table.column(index)} is chosen for {words}; choose one")
    return found
