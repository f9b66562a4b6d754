"""What requirements and grades come to, in words for who is fourteen; the numbers are the rules' own.

Beside these words the page always shows the rule's own sentence with its citation; where a rule has no words
here, that sentence stands alone.
"""

from __future__ import annotations

from collections.abc import Mapping

from syllabus.engine.rulebook import RuleVersion

_PAPERS = {
    "english": "Speak, read and write English well enough for the radio and the rules",
    "certificate": "Have a student pilot certificate; you apply for it with your instructor",
    "medical": "Have a medical certificate from an aviation medical examiner",
}
_AFTER_SOLO = {"first-solo": "Everything for flying alone still holds"}
_BY_MILESTONE: Mapping[str, Mapping[str, str]] = {
    "faa.first-solo": {
        **_PAPERS,
        "age": "Be old enough to fly alone",
        "knowledge-test": "Pass your instructor's written test on this airplane, this airport and the rules",
        "maneuvers": "Show each thing a pilot must be able to do before the first solo",
        "training-endorsement": "Your instructor writes in your logbook that you were trained for solo",
        "solo-endorsement": "Your instructor allows solo in your logbook; it is good for a limited time only",
    },
    "faa.solo-cross-country": {
        **_AFTER_SOLO,
        "maneuvers": "Show each thing a pilot must be able to do before flying far alone",
        "category-endorsement": "Your instructor writes in your logbook that you may fly far alone",
        "model-endorsement": "Your instructor writes in your logbook that you may do so in this model",
        "flight-endorsement": "Your instructor checks the plan of each flight, and writes that down",
    },
    "faa.solo-night": {
        **_AFTER_SOLO,
        "night-endorsement": "Your instructor allows solo at night at this airport in your logbook",
    },
    "faa.solo-class-b": {
        **_AFTER_SOLO,
        "class-b-endorsement": "Your instructor allows solo in this busy airspace in your logbook",
    },
    "faa.private-knowledge-test": {
        "age": "Be old enough to take the knowledge test",
        "endorsement": "Your instructor writes that you are ready for the knowledge test",
    },
    "faa.private-practical-test": {
        **_PAPERS,
        "age": "Be old enough for the practical test",
        "knowledge-test": "Pass the knowledge test; the result is good for a limited time only",
        "deficiencies-reviewed": "Go through what you missed on the knowledge test with your instructor",
        "proficiency": "Fly every part of the test to its standard",
        "total": "Time in the air, all of it",
        "dual": "Time with an instructor",
        "solo": "Time alone in the airplane",
        "dual-cross-country": "Far away with an instructor",
        "dual-night": "At night with an instructor",
        "night-cross-country-flight": "One long flight at night with an instructor",
        "night-landings": "Takeoffs and landings at night with an instructor",
        "dual-instrument": "By the instruments alone, with an instructor",
        "preparation": "Getting ready for the test with an instructor, not long before it",
        "solo-single-engine": "Time alone in a single-engine airplane",
        "solo-cross-country": "Far away alone",
        "long-solo-cross-country": "One long flight alone, with landings on the way",
        "towered-landings": "Takeoffs and landings alone where a tower works",
        "prerequisites-endorsement": "Your instructor writes that the last training is done",
        "practical-endorsement": "Your instructor writes that you are ready for the practical test",
    },
}
PLAIN: Mapping[str, str] = {
    f"{milestone}.{name}": words
    for milestone, requirements in _BY_MILESTONE.items()
    for name, words in requirements.items()
}
#: What it is that ends, by the last part of the requirement's id.
ENDING: Mapping[str, str] = {
    "certificate": "Your student pilot certificate",
    "medical": "Your medical certificate",
    "solo-endorsement": "Your endorsement to fly alone",
    "night-endorsement": "Your endorsement to fly alone at night",
    "class-b-endorsement": "Your endorsement to fly alone in this busy airspace",
    "flight-endorsement": "Your endorsement for this flight",
    "knowledge-test": "The result of your knowledge test",
    "deficiencies-reviewed": "The review of what you missed on the knowledge test",
    "preparation": "Your training for the test, as far as it is recent enough",
    "prerequisites-endorsement": "Your endorsement for the last training before the test",
}
#: The learner-centered scale (FAA-H-8083-9) in words.
GRADES: Mapping[str, str] = {
    "describe": "can describe it",
    "explain": "can explain it",
    "practice": "does it with help",
    "perform": "does it alone, as it should be",
    "not-observed": "was not looked at",
}
KINDS: Mapping[str, str] = {
    "dual": "with an instructor",
    "solo": "alone",
    "cross_country": "cross-country",
    "night": "at night",
    "instrument": "by instruments",
    "preparation": "for the test",
    "ground": "on the ground",
    "total": "in all",
    "pic": "as pilot in command",
    "actual_instrument": "in cloud",
    "simulated_instrument": "under the hood",
}


def requirement(rule: RuleVersion) -> str:
    """A requirement in plain words; its own sentence where there are none."""
    return PLAIN.get(rule.id, rule.says)


def grade(name: str | None) -> str:
    """A grade in plain words; the word itself stands beside them on a page."""
    return "not graded yet" if name is None else GRADES.get(name, name)
