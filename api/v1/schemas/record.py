"""The training record document, form training-record/1."""

from __future__ import annotations

from typing import Any

from api.v1.schemas.confirmation import CONFIRMATION, EITHER
from api.v1.schemas.shapes import (
    COUNT,
    DAY,
    DEGREES,
    FLAG,
    INSTANT,
    KIND,
    NAME,
    STRING,
    TEXT,
    TIME,
    Schema,
    listed,
    obj,
    optional,
    ref,
    word,
)
from syllabus.engine import document
from syllabus.engine.record import DEVICES, FORMAT, GRADES, NOT_OBSERVED, PROVENANCES, TIMES
from syllabus.engine.vocabulary import INSTRUCTORS

MOST_ENTRIES = 20_000
MOST_POINTS = 100
REASON: Schema = {"type": "string", "minLength": 1, "maxLength": 2000, "pattern": r"\S"}


def _entry(required: dict[str, Schema], others: dict[str, Schema], **more: Any) -> Schema:
    """One entry of a list: what it must say, what it may say, and what every entry may say."""
    every = {"id": NAME, "recorded": ref("Recorded"), "provenance": ref("Provenance")}
    return obj({**required, **optional({**others, **every})}, required, **more)


def _document() -> dict[str, Schema]:
    """What a record document says."""
    return {
        "format": word([FORMAT]),
        **optional(
            {
                "student": obj(optional({"name": TEXT, "birth_date": DAY})),
                "certificates": listed(ref("HeldCertificate"), MOST_ENTRIES),
                "flights": listed(ref("Flight"), MOST_ENTRIES),
                "ground": listed(ref("GroundLesson"), MOST_ENTRIES),
                "items": listed(ref("ItemGrade"), MOST_ENTRIES),
                "documents": listed(ref("Paper"), MOST_ENTRIES),
                "tests": listed(ref("TestTaken"), MOST_ENTRIES),
                "endorsements": listed(ref("Endorsement"), MOST_ENTRIES),
            }
        ),
    }


def components() -> dict[str, Schema]:
    instructor, category = ref("Instructor"), word(document.CATEGORIES)
    klass = word(document.CLASSES)
    return {
        "TrainingRecord": obj(
            _document(),
            ["format"],
            description=(
                "One student's whole training record. A key that is left out means none, zero or not "
                "known; an "
                "unknown key is refused by name. Ids are unique within a list."
            ),
        ),
        "RecordToReplace": {
            "type": "object",
            "description": "A record document, with who confirms it and why beside what it says.",
            "properties": {
                **_document(),
                "reason": {
                    **REASON,
                    "description": "Why the record is changed. It is sealed, and told to the student.",
                },
                **CONFIRMATION,
            },
            "required": ["format", "reason"],
            "additionalProperties": False,
            "anyOf": EITHER,
        },
        "Recorded": {
            **INSTANT,
            "description": (
                "When the entry was first written down, as the document claims. In the stateless call an "
                "answer `known_at` an earlier instant leaves it out; of a stored record the server's clock "
                "decides."
            ),
        },
        "Provenance": word(
            PROVENANCES,
            "Who vouches for the entry: a sign-off here, verified proofs of another school, a named person "
            "who saw the document, or nobody. The server says it; what is sent is not believed.",
        ),
        "Instructor": obj(
            {
                "name": NAME,
                **optional(
                    {
                        "certificate": NAME,
                        "kind": word(
                            INSTRUCTORS,
                            (
                                "Under what authority: a flight instructor's (14 CFR 61.193), where the key "
                                "is left out; a ground instructor's (61.215); or, by 61.41, that of another "
                                "country (foreign) or of an armed force."
                            ),
                        ),
                    }
                ),
            },
            ["name"],
            description="As the entry is signed.",
        ),
        "Point": {
            "description": (
                "An airport's ICAO or local identifier, or a place with latitude and longitude. A place "
                "with a "
                "name alone is one whose position nobody knows."
            ),
            "anyOf": [
                STRING,
                obj(
                    optional({"name": NAME, "lat": DEGREES, "lon": DEGREES}),
                    anyOf=[{"required": ["name"]}, {"required": ["lat", "lon"]}],
                ),
            ],
            "examples": ["KGRB", {"name": "grass strip", "lat": 44.1, "lon": -87.9}],
        },
        "Route": {
            "description": (
                "The point of departure, then every landing; as text, identifiers apart by spaces or commas."
            ),
            "anyOf": [listed(ref("Point"), MOST_POINTS), STRING],
        },
        "Times": obj(
            optional({name: ref("Time") for name in TIMES}),
            description="What was logged. No part is more than the total; dual and solo exclude each other.",
        ),
        "Time": TIME,
        "Landings": obj(
            optional(
                {
                    "at": ref("Point"),
                    "takeoffs": COUNT,
                    "landings": COUNT,
                    "period": word(["day", "night"], "The night of 14 CFR 1.1."),
                    "full_stop": FLAG,
                    "pattern": {
                        **FLAG,
                        "description": "Each landing involved a flight in the traffic pattern.",
                    },
                    "towered": {**FLAG, "description": "At an airport with an operating control tower."},
                }
            ),
        ),
        "Flight": _entry(
            {"date": DAY},
            {
                "trip": {
                    **NAME,
                    "description": "Entries that share it are one flight for cross-country rules.",
                },
                "aircraft": obj(
                    optional(
                        {
                            "registration": NAME,
                            "model": NAME,
                            "category": category,
                            "class": klass,
                            "device": word(DEVICES, "A training device; null for an aircraft."),
                        }
                    )
                ),
                "route": ref("Route"),
                "out": {**INSTANT, "description": "First movement for the purpose of flight (14 CFR 1.1)."},
                "off": {**INSTANT, "description": "Takeoff."},
                "on": {**INSTANT, "description": "Landing."},
                "in": {**INSTANT, "description": "At rest after landing (14 CFR 1.1)."},
                "times": ref("Times"),
                "landings": listed(ref("Landings"), MOST_POINTS),
                "instructor": instructor,
                "purposes": listed({"type": "string", "pattern": "^[a-z0-9-]+(:[a-z0-9-]+)*$"}, 20),
                "remarks": TEXT,
            },
            description="One logbook entry: a flight, or a session in a training device.",
        ),
        "GroundLesson": _entry({"date": DAY}, {"time": ref("Time"), "topic": TEXT, "instructor": instructor}),
        "ItemGrade": _entry(
            {"item": STRING, "date": DAY, "grade": word([*GRADES, NOT_OBSERVED])},
            {
                "flight": {**NAME, "description": "The id of a flight of this record."},
                "instructor": instructor,
                "remarks": TEXT,
            },
            description="How well one item was done, on the learner-centered scale; the newest grade stands.",
        ),
        "HeldCertificate": _entry(
            {"kind": word(document.CERTIFICATES), "issued": DAY}, {"category": category, "class": klass}
        ),
        "Paper": _entry(
            {"kind": {**KIND, "examples": list(document.DOCUMENTS)}, "issued": DAY},
            {
                "class": word(document.MEDICAL_CLASSES, "Of a medical certificate, which needs it."),
                "expires": {**DAY, "description": "Only shortens what the rule gives."},
                "aircraft_model": NAME,
                "remarks": TEXT,
            },
            description=(
                "A document somebody saw; `issued` of a medical certificate is the day of the examination."
            ),
        ),
        "TestTaken": _entry(
            {
                "kind": {**KIND, "examples": list(document.TESTS)},
                "date": DAY,
            },
            {
                "result": word(
                    document.RESULTS,
                    "Left out: the outcome is not known, which raises a question wherever it counts.",
                ),
                "score": {"type": "integer", "minimum": 0, "maximum": 100},
                "aircraft_model": NAME,
                "deficient_codes": {
                    **listed(NAME, 200),
                    "description": "Empty: none were listed. Left out: the test report was not seen.",
                },
                "instructor": instructor,
            },
        ),
        "Endorsement": _entry(
            {"kind": {**KIND, "examples": list(document.ENDORSEMENTS)}, "given": DAY},
            {
                "instructor": instructor,
                "aircraft_model": NAME,
                "category": category,
                "class": klass,
                "test": {
                    **KIND,
                    "description": "The test it is for, by its kind.",
                    "examples": list(document.TESTS),
                },
                "similar_model": {
                    **NAME,
                    "description": (
                        "The model that the training was given in, which the instructor attests is similar."
                    ),
                },
                "airport": ref("Point"),
                "area": NAME,
                "route": ref("Route"),
                "flight_date": DAY,
                "training_date": DAY,
                "expires": {**DAY, "description": "Only shortens what the rule gives."},
                "conditions": TEXT,
            },
        ),
    }
