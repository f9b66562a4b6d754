"""What requirements and grades come to, in words for who is fourteen; the numbers are the rules' own.

The words are marked for translation here and looked up in the language of the page. Beside them the page
always shows the rule's own sentence with its citation; where a rule has no words here, that sentence stands
alone.
"""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from syllabus.engine.rulebook import RuleVersion

_PAPERS = {
    "english": _("Speak, read and write English well enough for the radio and the rules"),
    "certificate": _("Have a student pilot certificate; you apply for it with your instructor"),
    "medical": _("Have a medical certificate from an aviation medical examiner"),
}
_RETEST = _("After a failed test, train again; your instructor endorses you for another try")
_AFTER_SOLO = {"first-solo": _("Everything for flying alone still holds")}
_BY_MILESTONE: Mapping[str, Mapping[str, str]] = {
    "faa.first-solo": {
        **_PAPERS,
        "age": _("Be old enough to fly alone"),
        "knowledge-test": _(
            "Pass your instructor's written test on this airplane, this airport and the rules"
        ),
        "maneuvers": _("Show each thing a pilot must be able to do before the first solo"),
        "training-endorsement": _("Your instructor writes in your logbook that you were trained for solo"),
        "solo-endorsement": _(
            "Your instructor allows solo in your logbook; it is good for a limited time only"
        ),
    },
    "faa.solo-cross-country": {
        **_AFTER_SOLO,
        "maneuvers": _("Show each thing a pilot must be able to do before flying far alone"),
        "category-endorsement": _("Your instructor writes in your logbook that you may fly far alone"),
        "model-endorsement": _("Your instructor writes in your logbook that you may do so in this model"),
        "flight-endorsement": _("Your instructor checks the plan of each flight, and writes that down"),
    },
    "faa.solo-night": {
        **_AFTER_SOLO,
        "night-endorsement": _("Your instructor allows solo at night at this airport in your logbook"),
    },
    "faa.solo-class-b": {
        **_AFTER_SOLO,
        "class-b-endorsement": _("Your instructor allows solo in this busy airspace in your logbook"),
        "airport-endorsement": _("Your instructor allows solo at this busy airport in your logbook"),
        "airport-open": _("Choose an airport where students may fly solo"),
    },
    "faa.private-knowledge-test": {
        "age": _("Be old enough to take the knowledge test"),
        "endorsement": _("Your instructor writes that you are ready for the knowledge test"),
        "retest": _RETEST,
    },
    "faa.private-practical-test": {
        **_PAPERS,
        "age": _("Be old enough for the practical test"),
        "knowledge-test": _("Pass the knowledge test; the result is good for a limited time only"),
        "deficiencies-reviewed": _("Go through what you missed on the knowledge test with your instructor"),
        "proficiency": _("Fly every part of the test to its standard"),
        "total": _("Time in the air, all of it"),
        "dual": _("Time with an instructor"),
        "solo": _("Time alone in the airplane"),
        "dual-cross-country": _("Far away with an instructor"),
        "dual-night": _("At night with an instructor"),
        "night-cross-country-flight": _("One long flight at night with an instructor"),
        "night-landings": _("Takeoffs and landings at night with an instructor"),
        "dual-instrument": _("By the instruments alone, with an instructor"),
        "preparation": _("Getting ready for the test with an instructor, not long before it"),
        "solo-single-engine": _("Time alone in a single-engine airplane"),
        "solo-cross-country": _("Far away alone"),
        "long-solo-cross-country": _("One long flight alone, with landings on the way"),
        "towered-landings": _("Takeoffs and landings alone where a tower works"),
        "prerequisites-endorsement": _("Your instructor writes that the last training is done"),
        "practical-endorsement": _("Your instructor writes that you are ready for the practical test"),
        "retest": _RETEST,
    },
}
PLAIN: Mapping[str, str] = {
    f"{milestone}.{name}": words
    for milestone, requirements in _BY_MILESTONE.items()
    for name, words in requirements.items()
}
#: What it is that ends, by the last part of the requirement's id.
ENDING: Mapping[str, str] = {
    "certificate": _("Your student pilot certificate"),
    "medical": _("Your medical certificate"),
    "solo-endorsement": _("Your endorsement to fly alone"),
    "night-endorsement": _("Your endorsement to fly alone at night"),
    "class-b-endorsement": _("Your endorsement to fly alone in this busy airspace"),
    "airport-endorsement": _("Your endorsement to fly alone at this busy airport"),
    "retest": _("Your endorsement for another try at the test"),
    "flight-endorsement": _("Your endorsement for this flight"),
    "knowledge-test": _("The result of your knowledge test"),
    "deficiencies-reviewed": _("The review of what you missed on the knowledge test"),
    "preparation": _("Your training for the test, as far as it is recent enough"),
    "prerequisites-endorsement": _("Your endorsement for the last training before the test"),
}
#: The learner-centered scale (FAA-H-8083-9) in words.
GRADES: Mapping[str, str] = {
    "describe": _("can describe it"),
    "explain": _("can explain it"),
    "practice": _("does it with help"),
    "perform": _("does it alone, as it should be"),
    "not-observed": _("was not looked at"),
}
KINDS: Mapping[str, str] = {
    "dual": _("with an instructor"),
    "solo": _("alone"),
    "cross_country": _("cross-country"),
    "night": _("at night"),
    "instrument": _("by instruments"),
    "preparation": _("for the test"),
    "ground": _("on the ground"),
    "total": _("in all"),
    "pic": _("as pilot in command"),
    "actual_instrument": _("in cloud"),
    "simulated_instrument": _("under the hood"),
}


def requirement(rule: RuleVersion) -> str:
    """A requirement in plain words; its own sentence where there are none."""
    return gettext(PLAIN[rule.id]) if rule.id in PLAIN else rule.says


def ending(requirement: str) -> str | None:
    """What it is that ends with a requirement of that id; None where there are no words for it."""
    words = ENDING.get(requirement.rpartition(".")[2])
    return words and gettext(words)


def kind(name: str) -> str:
    """A kind of time in plain words."""
    return gettext(KINDS[name])


def grade(name: str | None) -> str:
    """A grade in plain words; the word itself stands beside them on a page."""
    if name is None:
        return gettext("not graded yet")
    return gettext(GRADES[name]) if name in GRADES else name
