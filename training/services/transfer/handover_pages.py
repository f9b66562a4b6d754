"""A student's record as pages to print: the contents of a transfer file's PDFs, as plain values."""

import datetime as dt
import zoneinfo
from collections.abc import Iterable, Mapping
from typing import Any

from django.utils import translation

from syllabus.courses.outlines import published
from syllabus.engine.record import record as engine
from syllabus.engine.rules.report import CAUTION
from training.models import Acknowledgement, Correction, LessonRecord, SignOff, Student
from training.presenters import lesson as in_words
from training.presenters.days import moment
from training.presenters.entry import columns, kind_of, label_of, rows, sentence, vouched

#: Each list of the record document: its shape, its title, and its columns with their widths.
_PARTS: tuple[tuple[str, type, str, Mapping[str, int]], ...] = (
    ("certificates", engine.Certificate, "Certificates", {"issued": 2, "kind": 4, "category": 3}),
    (
        "flights",
        engine.Flight,
        "Flights and training devices",
        {
            "date": 3,
            "aircraft": 5,
            "route": 4,
            **dict.fromkeys(("out", "off", "on", "in"), 2),
            **{f"times.{each}": 2 for each in ("total", "dual", "solo", "night")},
            "landings": 8,
            "instructor": 4,
            "remarks": 4,
        },
    ),
    ("ground", engine.GroundLesson, "Ground training", {"date": 2, "time": 2, "topic": 5, "instructor": 4}),
    ("items", engine.ItemGrade, "Grades", {"date": 2, "item": 4, "grade": 2, "instructor": 4}),
    ("documents", engine.Document, "Documents", {"issued": 2, "kind": 4, "class": 2, "expires": 2}),
    ("tests", engine.Test, "Tests", {"date": 2, "kind": 4, "result": 2, "score": 1}),
    (
        "endorsements",
        engine.Endorsement,
        "Endorsements",
        {"given": 2, "kind": 4, "names": 5, "instructor": 4, "expires": 2},
    ),
)


def head(student: Student, at: dt.datetime) -> dict[str, Any]:
    """The head of every page."""
    return {
        "student": {
            "name": student.name or "(no name on record)",
            "birth_date": student.birth_date and student.birth_date.isoformat(),
            "ref": str(student.ref),
        },
        "school": student.school.name,
        "made": moment(at, zoneinfo.ZoneInfo(student.school.time_zone)),
        "caution": CAUTION,
    }


def record(student: Student, document: Mapping[str, Any], at: dt.datetime) -> dict[str, Any]:
    """The whole record, list by list, always in English: the same data gives the same bytes."""
    zone = zoneinfo.ZoneInfo(student.school.time_zone)
    with translation.override("en"):
        parts = [
            _part(made, title, {**widths, "provenance": 4}, document.get(part, ()), zone)
            for part, made, title, widths in _PARTS
        ]
    return {**head(student, at), "parts": parts}


def _part(
    made: type,
    title: str,
    widths: Mapping[str, int],
    entries: Iterable[Mapping[str, Any]],
    zone: dt.tzinfo,
) -> dict[str, Any]:
    known = {each.path: each for each in columns(made)}
    return {
        "title": title,
        "widths": list(widths.values()),
        "head": [known[path].label if path in known else "Names" for path in widths],
        "rows": [
            [
                known[path].text(each, zone)
                if path in known
                else "; ".join(text for _, text in _named(each, zone))
                for path in widths
            ]
            for each in entries
        ],
    }


def _named(endorsement: Mapping[str, Any], zone: dt.tzinfo) -> list[tuple[str, str]]:
    """The fields of an endorsement besides its kind."""
    return rows(
        engine.Endorsement,
        endorsement,
        zone,
        without=("kind", "given", "instructor", "expires", "conditions"),
    )


def endorsements(
    student: Student, document: Mapping[str, Any], wordings: Mapping[str, str], at: dt.datetime
) -> dict[str, Any]:
    """The endorsements, with the signed wording of those given here (by the entry's id)."""
    zone = zoneinfo.ZoneInfo(student.school.time_zone)
    with translation.override("en"):
        made = [
            {
                "title": sentence(kind_of(each["kind"])),
                "wording": wordings.get(each["id"], "Its wording is not on record here."),
                "facts": [
                    *rows(engine.Endorsement, each, zone, without=("kind",)),
                    (label_of("provenance"), vouched(each.get("provenance", ""))),
                ],
            }
            for each in document.get("endorsements", ())
        ]
    return {**head(student, at), "endorsements": made}


def lesson(
    student: Student,
    taught: LessonRecord,
    signed: SignOff,
    known: Acknowledgement | None,
    corrected: Correction | None,
    at: dt.datetime,
) -> dict[str, Any]:
    """One signed lesson: what was flown and taught, the grades, the signatures."""
    zone = zoneinfo.ZoneInfo(student.school.time_zone)
    version = taught.course_version
    with translation.override("en"):
        said = in_words.lesson(taught.content, zone, published(version) if version else None)
    signatures = {
        "Signed by": f"{signed.instructor_name}, {signed.instructor_certificate}",
        "Signed at": moment(signed.performed_at, zone),
        "Sealed as": f"entry {signed.ledger_index} of {signed.ledger_tree}",
        "Content": signed.content_hash,
        "Acknowledged": known and moment(known.at, zone),
        "Corrects": taught.corrects
        and f"the lesson signed at {moment(taught.corrects.sign_off.performed_at, zone)}: {taught.reason}",
        "Corrected": corrected and f"{moment(corrected.at, zone)}: {corrected.reason}",
    }
    texts = {
        "Comments": said.comments,
        "Next": said.next,
        "Shown before signing": "; ".join(_words(signed.warnings)),
    }
    return {
        **head(student, at),
        "lesson": {
            "code": taught.lesson or "outside the course",
            "parts": [["Flight", said.flight], ["On the ground", said.ground]],
            "signatures": [[name, value] for name, value in signatures.items() if value],
            "items": [
                [each.title, each.grade, "; ".join(each.measured), each.remarks] for each in said.items
            ],
            "texts": [[name, value] for name, value in texts.items() if value],
        },
    }


def _words(warnings: Iterable[Any]) -> Iterable[str]:
    return (str(each.get("message", each)) if isinstance(each, Mapping) else str(each) for each in warnings)
