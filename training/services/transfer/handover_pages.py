"""A student's record as pages to print: what the PDFs of a hand-over say, in plain values."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

from syllabus.engine.record import record as engine
from syllabus.engine.rules.report import CAUTION
from training.models import Acknowledgement, Correction, LessonRecord, SignOff, Student
from training.presenters import amounts

#: Title, widths, heads and the keys of each list of the record document.
_PARTS: tuple[tuple[str, str, tuple[tuple[str, int, str], ...]], ...] = (
    (
        "certificates",
        "Certificates",
        (("Issued", 2, "issued"), ("Kind", 4, "kind"), ("Category", 3, "category")),
    ),
    (
        "flights",
        "Flights and training devices",
        (
            ("Date", 3, "date"),
            ("Aircraft", 4, "aircraft"),
            ("Route", 4, "route"),
            ("Out, off, on, in", 3, "clock"),
            ("Total", 2, "times.total"),
            ("Dual", 2, "times.dual"),
            ("Solo", 2, "times.solo"),
            ("Night", 2, "times.night"),
            ("Landings", 2, "landings"),
            ("Instructor", 4, "instructor"),
            ("Remarks", 4, "remarks"),
        ),
    ),
    (
        "ground",
        "Ground training",
        (("Date", 2, "date"), ("Time", 2, "time"), ("Topic", 5, "topic"), ("Instructor", 4, "instructor")),
    ),
    (
        "items",
        "Grades",
        (("Date", 2, "date"), ("Item", 4, "item"), ("Grade", 2, "grade"), ("Instructor", 4, "instructor")),
    ),
    (
        "documents",
        "Documents",
        (("Issued", 2, "issued"), ("Kind", 4, "kind"), ("Class", 2, "class"), ("Expires", 2, "expires")),
    ),
    (
        "tests",
        "Tests",
        (("Date", 2, "date"), ("Kind", 4, "kind"), ("Result", 2, "result"), ("Score", 1, "score")),
    ),
    (
        "endorsements",
        "Endorsements",
        (
            ("Given", 2, "given"),
            ("Kind", 4, "kind"),
            ("Names", 5, "names"),
            ("Instructor", 4, "instructor"),
            ("Expires", 2, "expires"),
        ),
    ),
)
#: What an endorsement may name beside its kind, and under which key.
_NAMES = (
    ("Aircraft model", "aircraft_model"),
    ("Similar model trained in", "similar_model"),
    ("Category", "category"),
    ("Class", "class"),
    ("Test", "test"),
    ("Airport", "airport"),
    ("Area", "area"),
    ("Route", "route"),
    ("Day of the flight", "flight_date"),
    ("Day of the training", "training_date"),
)


#: Who vouches for an entry, as the pages say it.
VOUCHED = {
    engine.SIGNED: "signed here",
    engine.TAKEN_OVER: "taken over, with proof",
    engine.ATTESTED: "attested",
    engine.CLAIMED: "claimed",
}
_VOUCHED = ("Vouched", 2, "provenance")


def head(student: Student, at: dt.datetime) -> dict[str, Any]:
    """What stands at the head of every page."""
    return {
        "student": {
            "name": student.name or "(no name on record)",
            "birth_date": student.birth_date and student.birth_date.isoformat(),
            "ref": str(student.ref),
        },
        "school": student.school.name,
        "made": at.astimezone(dt.UTC).isoformat(timespec="seconds"),
        "caution": CAUTION,
    }


def record(student: Student, document: Mapping[str, Any], at: dt.datetime) -> dict[str, Any]:
    """The whole record, list by list."""
    return {
        **head(student, at),
        "parts": [
            {
                "title": title,
                "widths": [width for _, width, _ in (*columns, _VOUCHED)],
                "head": [name for name, _, _ in (*columns, _VOUCHED)],
                "rows": [
                    [_cell(entry, key) for _, _, key in (*columns, _VOUCHED)]
                    for entry in document.get(part, ())
                ],
            }
            for part, title, columns in _PARTS
        ],
    }


def _cell(entry: Mapping[str, Any], key: str) -> str | None:
    if key == "clock":
        return _clock(entry) or None
    if key == "names":
        return "; ".join(value for _, value in _named(entry)) or None
    value: Any = entry
    for step in key.split("."):
        value = value.get(step) if isinstance(value, Mapping) else None
    return None if value is None else _WRITTEN.get(key, str)(value)


def _of(*keys: str, by: str) -> Callable[[Any], str]:
    """Those of the keys that an object has, in a row; what is no object as it is."""

    def written(value: Any) -> str:
        return by.join(str(value[each]) for each in keys if value.get(each))

    return lambda value: written(value) if isinstance(value, Mapping) else str(value)


def _time(value: Any) -> str:
    return amounts.logged(value) if isinstance(value, str) else str(value)


#: How a value is written that is more than a text, by its key.
_WRITTEN: Mapping[str, Callable[[Any], str]] = {
    "aircraft": _of("registration", "model", "device", by=" "),
    "instructor": _of("name", "certificate", "kind", by=", "),
    "route": lambda value: "–".join(map(_point, value)),
    "provenance": lambda value: VOUCHED.get(str(value), str(value)),
    "landings": lambda value: str(sum(each.get("landings", 0) for each in value)),
    **dict.fromkeys(("time", "times.total", "times.dual", "times.solo", "times.night"), _time),
}


def _clock(flight: Mapping[str, Any]) -> str:
    """The times on the clock that are on record, each on the clock it was read from."""
    return ", ".join(
        f"{key} {dt.datetime.fromisoformat(flight[key]):%H:%M %z}"
        for key in ("out", "off", "on", "in")
        if flight.get(key)
    )


def _named(endorsement: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """What an endorsement names, each with what it is called."""
    for name, key in _NAMES:
        if value := endorsement.get(key):
            yield name, _point(value) if key == "airport" else (_cell(endorsement, key) or "")


def _point(point: Any) -> str:
    return str(point.get("name", "?")) if isinstance(point, Mapping) else str(point)


def endorsements(
    student: Student, document: Mapping[str, Any], wordings: Mapping[str, str], at: dt.datetime
) -> dict[str, Any]:
    """The endorsements, with the words in which those given here were given (by the entry's id)."""
    made = []
    for each in document.get("endorsements", ()):
        facts = {
            "Given": each.get("given"),
            "Instructor": _cell(each, "instructor"),
            **dict(_named(each)),
            "Expires": each.get("expires"),
            "Conditions": each.get("conditions"),
            "Vouched": _cell(each, "provenance"),
        }
        made.append(
            {
                "title": each["kind"],
                "wording": wordings.get(each["id"], "Its wording is not on record here."),
                "facts": [[name, str(value)] for name, value in facts.items() if value],
            }
        )
    return {**head(student, at), "endorsements": made}


def lesson(
    student: Student,
    taught: LessonRecord,
    signed: SignOff,
    known: Acknowledgement | None,
    corrected: Correction | None,
    at: dt.datetime,
) -> dict[str, Any]:
    """One signed lesson: what was flown and taught, how it was graded, who signed it."""
    content = taught.content
    flight, ground = content.get("flight") or {}, content.get("ground") or {}
    facts = {
        "Date": flight.get("date") or ground.get("date"),
        "Aircraft": _cell(flight, "aircraft"),
        "Route": _cell(flight, "route"),
        "On the clock": _clock(flight),
        "Total": _cell(flight, "times.total"),
        "Dual": _cell(flight, "times.dual"),
        "Solo": _cell(flight, "times.solo"),
        "Ground": ground.get("time") and f"{amounts.logged(ground['time'])} {ground.get('topic', '')}",
        "Signed by": f"{signed.instructor_name}, {signed.instructor_certificate}",
        "Signed at": signed.performed_at.astimezone(dt.UTC).isoformat(timespec="seconds"),
        "Sealed as": f"entry {signed.ledger_index} of {signed.ledger_tree}",
        "Content": signed.content_hash,
        "Acknowledged": known and known.at.astimezone(dt.UTC).isoformat(timespec="seconds"),
        "Corrects": taught.corrects_id and f"{taught.corrects_id}: {taught.reason}",
        "Corrected by": corrected and f"{corrected.successor_id}: {corrected.reason}",
    }
    texts = {
        "Flight remarks": flight.get("remarks"),
        "Comments": content.get("comments"),
        "Next": content.get("next"),
        "Shown before signing": "; ".join(_words(signed.warnings)),
    }
    said = {
        "code": taught.lesson or str(taught.pk),
        "facts": [[name, str(value)] for name, value in facts.items() if value],
        "items": [_item(each) for each in content.get("items") or ()],
        "texts": [[name, value] for name, value in texts.items() if value],
    }
    return {**head(student, at), "lesson": said}


def _item(graded: Mapping[str, Any]) -> list[str | None]:
    """An item with its grade, what was measured and what was remarked."""
    values = (graded.get("measured") or {}).items()
    measured = "; ".join(f"{name}: {_said(value)}" for name, value in values)
    return [str(graded.get("item")), str(graded.get("grade")), measured, graded.get("remarks") or None]


def _said(value: Any) -> str:
    return (
        f"{value.get('value')} (aimed at {value.get('target')})" if isinstance(value, Mapping) else str(value)
    )


def _words(warnings: Iterable[Any]) -> Iterable[str]:
    return (str(each.get("message", each)) if isinstance(each, Mapping) else str(each) for each in warnings)
