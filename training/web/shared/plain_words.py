"""Requirements, grades and kinds of time in words that a student of fourteen understands.

The words of a requirement are in the rule data; those of grades and times are here. gettext translates both.
The page also shows the rule's own sentence and citation, and only these for a rule without such words.
"""

from collections.abc import Mapping

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.law import rulebook

#: The learner-centered grading scale (FAA-H-8083-9) in words.
GRADES: Mapping[str, str] = {
    "describe": _("can describe it"),
    "explain": _("can explain it"),
    "practice": _("does it with help"),
    "perform": _("does it without help, to the standard"),
    "not-observed": _("was not observed"),
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
    """A requirement in plain words; the rule's own sentence if it has none, as for a school's minimum."""
    known = rulebook.current().requirements.get(rule.id)
    return gettext(known.plain) if known and known.plain else rule.says


def expiring(requirement: str) -> str | None:
    """What expires with a requirement of that id; None without words for it."""
    known = rulebook.current().requirements.get(requirement)
    return gettext(known.expiring) if known and known.expiring else None


def kind(name: str) -> str:
    """A kind of time in plain words."""
    return gettext(KINDS[name])


def grade(name: str | None) -> str:
    """A grade in plain words; the page shows the scale's own word beside them."""
    if name is None:
        return gettext("not graded yet")
    return gettext(GRADES[name]) if name in GRADES else name
