"""Words that a training record document may use, and the everyday names read as one of them."""

from __future__ import annotations

CATEGORIES = (
    "airplane",
    "rotorcraft",
    "glider",
    "lighter-than-air",
    "balloon",
    "airship",
    "powered-lift",
    "powered parachute",
    "weight-shift-control",
)
CLASSES = (
    "single-engine land",
    "single-engine sea",
    "multiengine land",
    "multiengine sea",
    "helicopter",
    "gyroplane",
    "airship",
    "balloon",
    "powered parachute land",
    "powered parachute sea",
    "weight-shift-control land",
    "weight-shift-control sea",
)
CERTIFICATES = ("student", "sport", "recreational", "private", "commercial", "airline-transport")
MEDICAL_CLASSES = ("first", "second", "third")
RESULTS = ("pass", "fail")
#: Flight instructors (14 CFR 61.193), ground instructors (61.215), and instructors of 61.41: authorized by
#: another country, abroad, or by an armed force.
INSTRUCTORS = ("flight", "ground", "foreign", "armed-forces")
#: Those whose dual time is flight training.
FLIGHT_TRAINING = ("flight", "foreign", "armed-forces")

#: Kinds that rules read. Others are kept too (a school files more papers than rules ask for), but one that
#: is a letter away from these is taken for a slip of the pen and refused.
DOCUMENTS = (
    "english-proficiency",
    "student-pilot-certificate",
    "medical",
    "basicmed-course",
    "basicmed-examination",
    "device-letter-of-authorization",
    "drivers-license",
)
#: The pre-solo test of an instructor, and those of the authority: ``knowledge:`` or ``practical:``, and what
#: the test is for, in the words of the milestone. Where one test serves several classes (single-engine and
#: multiengine) or categories, an endorsement for it names them beside it.
TESTS = (
    "pre-solo-knowledge",
    "knowledge:private-airplane",
    "knowledge:private-helicopter",
    "knowledge:private-gyroplane",
    "knowledge:private-glider",
    "knowledge:recreational",
    "knowledge:sport",
    "knowledge:instrument-airplane",
    "knowledge:instrument-helicopter",
    "knowledge:commercial-airplane",
    "knowledge:commercial-helicopter",
    "knowledge:commercial-glider",
    "knowledge:fundamentals-of-instructing",
    "knowledge:instructor-airplane",
    "knowledge:instructor-instrument",
    "practical:private-airplane",
    "practical:private-helicopter",
    "practical:private-gyroplane",
    "practical:private-glider",
    "practical:recreational",
    "practical:sport",
    "practical:instrument-airplane",
    "practical:instrument-helicopter",
    "practical:commercial-airplane",
    "practical:commercial-helicopter",
    "practical:commercial-glider",
    "practical:instructor-airplane",
    "practical:instructor-instrument",
)
#: How the kinds of an authority's tests begin; others are an instructor's or a school's own.
TESTS_OF = ("knowledge", "practical", "knowledge-test", "practical-test")
ENDORSEMENTS = (
    "pre-solo-knowledge",
    "pre-solo-training",
    "solo-90-day",
    "solo-night",
    "solo-class-b",
    "solo-class-b-airport",
    "solo-towered-airspace",
    "solo-other-airport",
    "solo-cross-country-category",
    "solo-cross-country-model",
    "solo-cross-country-category-model",
    "solo-cross-country-flight",
    "solo-cross-country-repeated",
    "home-study-reviewed",
    "knowledge-test",
    "knowledge-deficiencies-reviewed",
    "practical-test-prerequisites",
    "practical-test",
    "retest",
    "citizenship",
    "complex",
    "high-performance",
    "high-altitude",
    "tailwheel",
    "solo-unrated",
)
#: Other everyday names of the same endorsements, read as the kind they mean.
ALSO_CALLED = {
    "presolo-knowledge": "pre-solo-knowledge",
    "presolo-training": "pre-solo-training",
    "presolo-night": "solo-night",
    "solo-first90": "solo-90-day",
    "solo-next90": "solo-90-day",
    "solo-other-airport-25": "solo-other-airport",
    "solo-xc-category-model": "solo-cross-country-category-model",
    "solo-xc-flight": "solo-cross-country-flight",
    "solo-xc-repeat-50": "solo-cross-country-repeated",
    "solo-class-b-area": "solo-class-b",
    "knowledge-private": "knowledge-test",
    "knowledge-deficiency-review": "knowledge-deficiencies-reviewed",
    "practical-prereq": "practical-test-prerequisites",
    "practical-private": "practical-test",
    "home-study-review": "home-study-reviewed",
    "tsa-citizenship": "citizenship",
    "solo-no-rating": "solo-unrated",
}
#: Items that rules read, by their number of the paragraph they stand for.
RULE_LISTS = {"presolo.d": (1, 15), "soloxc.e": (1, 12), "area.private": (1, 12)}
RULE_ITEMS = tuple(
    f"{stem}{'.' if stem == 'area.private' else '-'}{number:02d}"
    for stem, (first, last) in RULE_LISTS.items()
    for number in range(first, last + 1)
)
