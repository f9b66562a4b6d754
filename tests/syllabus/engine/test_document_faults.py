"""Each thing that can be wrong in a record document: exactly where, in words that let its author mend it."""

from typing import Any

from tests.support.rows import over_rows
from tests.syllabus.engine.test_document import document, faults, flight

NAN = float("nan")

#: What a flight is given, and the one fault, whose place starts with ``flights[0].``.
WRONG_FLIGHTS = {
    "an unknown key, with the one that was meant": (
        {"timez": {}},
        "timez: unknown key; did you mean 'times'?",
    ),
    "an unknown kind of time": ({"times": {"dul": 1}}, "times.dul: unknown key; did you mean 'dual'?"),
    "an unknown key of the aircraft": (
        {"aircraft": {"klass": "x"}},
        "aircraft.klass: unknown key; did you mean 'class'?",
    ),
    "an unknown key of the landings": (
        {"landings": [{}, {"full-stop": True}]},
        "landings[1].full-stop: unknown key; did you mean 'full_stop'?",
    ),
    "an unknown key of a point": (
        {"route": ["KGRB", {"name": "x", "latt": 1}]},
        "route[1].latt: unknown key; did you mean 'lat'?",
    ),
    "an unknown key like no other": (
        {"zzz": 1},
        "zzz: unknown key; use one of id, date, aircraft, trip, route, out, off, on, in, times,"
        " landings, instructor, purposes, remarks, recorded, provenance",
    ),
    "a distance for a time": (
        {"times": {"total": "50 NM"}},
        "times.total: '50 NM' is a distance, but a time is expected, such as '1.4 h', '84 min',"
        " '1:24' or 1.4",
    ),
    "a nanometre for a time": (
        {"times": {"total": "5 nm"}},
        "times.total: 'nm' in '5 nm' is not a known unit: 'nm' is a nanometer; a nautical mile is 'NM'",
    ),
    "an expression, which is not computed": (
        {"times": {"total": "9**9**9"}},
        "times.total: '**9**9' in '9**9**9' is not a known unit: a time is written with one of"
        " h, hr, hrs, hour, hours, min, mins, minute, minutes, s, sec, second, seconds",
    ),
    "true for a time": (
        {"times": {"total": True}},
        "times.total: true is not a time; write for example '1.4 h', '84 min', '1:24' or 1.4",
    ),
    "not a number for a time": (
        {"times": {"total": NAN}},
        "times.total: nan is not a plain number of at most 9 digits and 6 decimals",
    ),
    "a time below zero": ({"times": {"total": -1}}, "times.total: -1 is below zero; a time is 0 or more"),
    "a time longer than a life of flying": (
        {"times": {"total": "100000 h"}},
        "times.total: '100000 h' is 100,000 hours or more, too long for one entry",
    ),
    "more dual than total": (
        {"times": {"total": "1 h", "dual": "1.1 h"}},
        "times.dual: 1.1 h is more than the total, 1.0 h; correct one",
    ),
    "dual and solo in one entry": (
        {"times": {"total": "1.3 h", "dual": "0.7 h", "solo": "0.6 h"}},
        "times: dual 0.7 h and solo 0.6 h in one entry: with an instructor aboard nobody is the sole"
        " occupant;"
        " write two entries",
    ),
    "more instrument time than total": (
        {"times": {"total": "2 h", "actual_instrument": "1.5 h", "simulated_instrument": "1 h"}},
        "times: actual and simulated instrument time together, 2.5 h, are more than the total, 2.0"
        " h; correct one",
    ),
    "a day that is not in the calendar": (
        {"date": "2026-02-30"},
        "date: '2026-02-30' is not a calendar date",
    ),
    "a leap day of a common year": (
        {"date": "2026-02-29"},
        "date: '2026-02-29' is not a calendar date",
    ),
    "a date as some countries write it": (
        {"date": "01/05/2026"},
        "date: '01/05/2026' is not a date; write it like 2026-03-02",
    ),
    "a date as a number": ({"date": 20260501}, "date: 20260501 is not a date; write it like 2026-03-02"),
    "a date as null": ({"date": None}, "date: null is not a date; write it like 2026-03-02"),
    "a date with a time": (
        {"date": "2026-05-01T10:00"},
        "date: '2026-05-01T10:00' is not a date; write it like 2026-03-02",
    ),
    "a date before anybody flew": (
        {"date": "1066-01-01"},
        "date: 1066-01-01 is not between the years 1900 and 2199",
    ),
    "an off time without an offset": (
        {"off": "2026-05-01T10:00:00"},
        "off: '2026-05-01T10:00:00' has no offset from UTC; write it like 2026-05-01T10:00:00-06:00 or"
        " 2026-05-01T10:00:00Z",
    ),
    "a clock time alone": (
        {"off": "10:00"},
        "off: '10:00' is not a date and time; write it like 2026-03-02T19:40:00-06:00",
    ),
    "an hour that does not exist": (
        {"off": "2026-05-01T25:00:00Z"},
        "off: '2026-05-01T25:00:00Z' is not a calendar date and time",
    ),
    "on before off": (
        {"off": "2026-05-01T10:00:00Z", "on": "2026-05-01T09:59:59Z"},
        "on: 2026-05-01T09:59:59+00:00 is before off, 2026-05-01T10:00:00+00:00",
    ),
    "more than a day between them": (
        {"off": "2026-05-01T10:00:00Z", "on": "2026-05-02T10:00:01Z"},
        "on: more than 24 hours after off; write one entry for each flight",
    ),
    "off on another day": (
        {"off": "2026-05-03T10:00:00Z"},
        "off: 2026-05-03T10:00:00+00:00 is not on 2026-05-01, the entry's date; correct one of them",
    ),
    "an airport nobody knows": (
        {"route": ["KGRB", "KXQZ"]},
        "route[1]: no airport has the identifier 'KXQZ'. Did you mean KHQZ (Mesquite Metro Airport)?"
        " Correct it, or give a name with lat and lon.",
    ),
    "a number for a point": (
        {"route": [5]},
        "route[0]: 5 is not a waypoint; give an airport's identifier or a name with lat and lon",
    ),
    "a latitude beyond the pole": (
        {"route": [{"name": "strip", "lat": 91, "lon": 0}]},
        "route[0]: strip: latitude 91 is not between -90 and 90 degrees",
    ),
    "half a position": (
        {"route": [{"name": "strip", "lat": 44.1}]},
        "route[0]: strip: lat is given without lon; give both or neither",
    ),
    "an angle that is none": (
        {"route": [{"name": "strip", "lat": "44.1 NM", "lon": 0}]},
        "route[0].lat: '44.1 NM' is not an angle in degrees, such as 44.1",
    ),
    "a point without name and position": ({"route": [{}]}, "route[0]: a point needs a name or a position"),
    "half a landing": (
        {"landings": [{"landings": 1.5}]},
        "landings[0].landings: 1.5 is not a whole number",
    ),
    "a landing less than none": (
        {"landings": [{"takeoffs": -1}]},
        "landings[0].takeoffs: -1 is not between 0 and 10000",
    ),
    "true for a count": (
        {"landings": [{"landings": True}]},
        "landings[0].landings: true is not a whole number",
    ),
    "1 for true": (
        {"landings": [{"full_stop": 1}]},
        "landings[0].full_stop: expected true or false, got the number 1",
    ),
    "a word for true": (
        {"landings": [{"towered": "yes"}]},
        "landings[0].towered: expected true or false, got a string",
    ),
    "a time of day that is neither": (
        {"landings": [{"period": "evening"}]},
        "landings[0].period: 'evening' is not a period; use one of day, night",
    ),
    "a device of no kind": (
        {"aircraft": {"device": "SIM"}},
        "aircraft.device: 'SIM' is not a kind of training device; use one of FFS, FTD, AATD, BATD",
    ),
    "an instructor without a name": ({"instructor": {}}, "instructor.name: missing"),
    "an instructor as text": (
        {"instructor": "Ida"},
        "instructor: expected an object, got a string",
    ),
    "a blank name": (
        {"instructor": {"name": " "}},
        "instructor.name: is blank; leave the key out or give a value",
    ),
    "preparation for no test": (
        {"purposes": ["practical-test-preparation"]},
        "purposes[0]: 'practical-test-preparation' does not say for which test;"
        " write 'practical-test-preparation:private'",
    ),
    "a purpose a letter away": (
        {"purposes": ["practical-test-prepration:private"]},
        "purposes[0]: 'practical-test-prepration:private' is not a known purpose;"
        " did you mean 'practical-test-preparation:private'?",
    ),
    "a purpose that is no list": ({"purposes": "x"}, "purposes: expected a list, got a string"),
    "a number for remarks": ({"remarks": 5}, "remarks: expected text, got the number 5"),
    "a character that no text holds": (
        {"remarks": "a\x00b"},
        "remarks: contains a character that is not text (NUL or half of a surrogate pair)",
    ),
    "a number for an id": ({"id": 5}, "id: expected text, got the number 5"),
    "a time of recording that is none": (
        {"recorded": "yesterday"},
        "recorded: 'yesterday' is not a date and time; write it like 2026-03-02T19:40:00-06:00",
    ),
}


@over_rows(("name", "keys", "fault"), [(name, *row) for name, row in WRONG_FLIGHTS.items()])
def test_a_fault_in_a_flight_is_told_with_its_place(name: str, keys: dict[str, Any], fault: str) -> None:
    assert faults(document(flights=[flight(**keys)])) == [f"flights[0].{fault}"]


WRONG_PARTS = {
    "an unknown part": ({"flight": []}, "flight: unknown key; did you mean 'flights'?"),
    "an unknown key of the student": (
        {"student": {"birthdate": "2010-01-01"}},
        "student.birthdate: unknown key; did you mean 'birth_date'?",
    ),
    "a student that is no object": ({"student": []}, "student: expected an object, got a list"),
    "flights that are no list": ({"flights": {}}, "flights: expected a list, got an object"),
    "an entry that is no object": ({"flights": [None]}, "flights[0]: expected an object, got null"),
    "two flights of one id": (
        {"flights": [flight(), flight(date="2026-05-02")]},
        "flights[1].id: 'f1' is the id of flights[0] already; give each entry its own",
    ),
    "ground time in miles": (
        {"ground": [{"date": "2026-01-01", "time": "1 NM"}]},
        "ground[0].time: '1 NM' is a distance, but a time is expected, such as '1.4 h', '84 min',"
        " '1:24' or 1.4",
    ),
    "an item beyond the end of its list": (
        {"items": [{"item": "presolo.d-16", "date": "2026-05-01", "grade": "perform"}]},
        "items[0].item: 'presolo.d-16' is not an item of that list, which runs from"
        " presolo.d-01 to presolo.d-15",
    ),
    "an area written short": (
        {"items": [{"item": "area.private.1", "date": "2026-05-01", "grade": "perform"}]},
        "items[0].item: 'area.private.1' is not an item of that list, which runs from area.private.01 to"
        " area.private.12",
    ),
    "a grade of another scale": (
        {"items": [{"item": "presolo.d-01", "date": "2026-05-01", "grade": "good"}]},
        "items[0].grade: 'good' is not a grade; use one of describe, explain, practice,"
        " perform, not-observed",
    ),
    "a grade of a flight that is not there": (
        {
            "flights": [flight()],
            "items": [{"item": "presolo.d-01", "date": "2026-05-01", "grade": "perform", "flight": "f9"}],
        },
        "items[0].flight: no flight has the id 'f9'",
    ),
    "a medical of no class": (
        {"documents": [{"kind": "medical", "issued": "2026-05-01"}]},
        "documents[0].class: missing; a medical is one of first, second, third",
    ),
    "a medical of a fourth class": (
        {"documents": [{"kind": "medical", "class": "fourth", "issued": "2026-05-01"}]},
        "documents[0].class: 'fourth' is not a class of medical certificate; use one of first, second, third",
    ),
    "a document a letter away": (
        {"documents": [{"kind": "student-pilot-certifcate", "issued": "2026-05-01"}]},
        "documents[0].kind: 'student-pilot-certifcate' is not a known kind of document;"
        " did you mean 'student-pilot-certificate'?",
    ),
    "a document without its day": (
        {"documents": [{"kind": "english-proficiency"}]},
        "documents[0].issued: missing",
    ),
    "a certificate in capitals": (
        {"certificates": [{"kind": "Private", "issued": "2026-01-01"}]},
        "certificates[0].kind: 'Private' is not a pilot certificate; use one of student, sport,"
        " recreational, private,"
        " commercial, airline-transport; did you mean 'private'?",
    ),
    "a result that is nearly one": (
        {"tests": [{"kind": "knowledge:private-airplane", "date": "2026-05-01", "result": "passed"}]},
        "tests[0].result: 'passed' is not a result; use one of pass, fail; did you mean 'pass'?",
    ),
    "a score beyond the full one": (
        {
            "tests": [
                {"kind": "knowledge:private-airplane", "date": "2026-05-01", "result": "pass", "score": 101}
            ]
        },
        "tests[0].score: 101 is more than 100 percent",
    ),
    "an endorsement a letter away": (
        {"endorsements": [{"kind": "solo-90day", "given": "2026-05-01"}]},
        "endorsements[0].kind: 'solo-90day' is not a known kind of endorsement; did you mean 'solo-90-day'?",
    ),
    "an endorsement of no day": (
        {"endorsements": [{"kind": "solo-90-day"}]},
        "endorsements[0].given: missing",
    ),
    "an endorsement before its training": (
        {"endorsements": [{"kind": "solo-90-day", "given": "2026-05-01", "training_date": "2026-05-02"}]},
        "endorsements[0].training_date: 2026-05-02 is after the endorsement, given 2026-05-01;"
        " the training comes first",
    ),
}


@over_rows(("name", "parts", "fault"), [(name, *row) for name, row in WRONG_PARTS.items()])
def test_a_fault_in_any_part_is_told_with_its_place(name: str, parts: dict[str, Any], fault: str) -> None:
    assert faults(document(**parts)) == [fault]
