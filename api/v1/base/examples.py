"""Invented examples; the program itself computes their answers."""

from datetime import date
from typing import Any

from syllabus.engine.record import document
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.rules.question import context_from
from syllabus.law import rulebook

_BO = {"name": "Bo Example", "certificate": "0000001CFI"}
RECORD: dict[str, Any] = {
    "format": "training-record/1",
    "student": {"name": "Ada Example", "birth_date": "2010-05-17"},
    "flights": [
        {
            "id": "f1",
            "date": "2026-03-02",
            "aircraft": {
                "registration": "N00XY",
                "model": "C172",
                "category": "airplane",
                "class": "single-engine land",
            },
            "route": ["KGRB", "KMTW", "KGRB"],
            "times": {"total": "1.4 h", "dual": "1.4 h", "cross_country": "1.4 h"},
            "landings": [{"at": "KMTW", "takeoffs": 3, "landings": 3, "period": "day"}],
            "instructor": _BO,
        }
    ],
    "items": [
        {"item": "presolo.d-01", "date": "2026-03-02", "grade": "perform", "flight": "f1", "instructor": _BO}
    ],
    "documents": [
        {"kind": "student-pilot-certificate", "issued": "2026-06-01"},
        {"kind": "medical", "class": "third", "issued": "2026-06-01"},
    ],
    "tests": [
        {"kind": "pre-solo-knowledge", "date": "2026-07-01", "result": "pass", "aircraft_model": "C172"}
    ],
    "endorsements": [
        {"kind": "solo-90-day", "given": "2026-07-02", "aircraft_model": "C172", "instructor": _BO}
    ],
}
ON, CONTEXT = date(2026, 7, 5), {"aircraft_model": "C172"}
PROBLEM: dict[str, Any] = {
    "type": "about:blank",
    "title": "Unprocessable Entity",
    "status": 422,
    "detail": "1 validation error in the request; see `errors`.",
    "errors": [
        {
            "place": "record.flights[3].times.dual",
            "message": "2.0 h is more than the total of 1.4 h; correct one of them",
        }
    ],
}


def question() -> dict[str, Any]:
    """A question about the first milestone of the rules."""
    milestone = next(iter(rulebook.current().milestones))
    return {"record": RECORD, "milestone": milestone, "on": str(ON), "context": CONTEXT}


def report() -> dict[str, Any]:
    """The program's answer to the question."""
    law, record, context = rulebook.current(), document.parse(RECORD), context_from(CONTEXT)
    return evaluate(law, record, next(iter(law.milestones)), ON, context=context).as_json()
