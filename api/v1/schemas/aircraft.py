"""A school's aircraft and what ends of them."""

from __future__ import annotations

from api.v1.schemas.report import VERIFIED_WORD
from api.v1.schemas.shapes import DAY, INSTANT, NAME, STRING, Schema, full, listed, obj, or_null, ref, word
from syllabus import airworthiness
from syllabus.engine.record import DEVICES

_ID: Schema = {"type": "integer", "minimum": 0}


def components() -> dict[str, Schema]:
    kind = word(airworthiness.current(), "What kind of inspection or paper.")
    listed_as = {
        "registration": {**NAME, "maxLength": 40},
        "model": {**NAME, "maxLength": 60, "description": "Make and model as entries name it, such as C172."},
    }
    class_of = {"category": {**NAME, "maxLength": 40}, "class": {**NAME, "maxLength": 60}}
    device = {**STRING, "enum": ["", *DEVICES], "description": "Empty for an aircraft."}
    return {
        "AircraftCheck": full(
            {
                "id": _ID,
                "kind": kind,
                "says": {**STRING, "description": "The kind in words."},
                "done": DAY,
                "expires": {**or_null(DAY), "description": "The last day that is written on it."},
                "last_day": {**DAY, "description": "By the rule, or as written on it where that is earlier."},
                "citation": STRING,
                "verified": VERIFIED_WORD,
                "recorded_at": INSTANT,
                "by": STRING,
            }
        ),
        "Aircraft": full(
            {
                "id": _ID,
                "school": STRING,
                **listed_as,
                **class_of,
                "device": device,
                "checks": {
                    **listed(ref("AircraftCheck")),
                    "description": "What stands, the first to end first: of each kind the newest recorded.",
                },
            }
        ),
        "AircraftList": full({"aircraft": listed(ref("Aircraft")), "caution": STRING}),
        "AircraftToList": obj(
            {
                "school": {**NAME, "description": "The school's short name."},
                **listed_as,
                **{name: or_null(each) for name, each in class_of.items()},
                "device": or_null(word(DEVICES)),
            },
            ["school", *listed_as],
        ),
        "AircraftCheckToRecord": obj(
            {"kind": kind, "done": DAY, "expires": or_null(DAY)},
            ["kind", "done"],
        ),
    }
