"""What requirements, grades and kinds of time are called for a student of fourteen.

The words of a requirement are the rule data's, those of grades and times are here; all are looked up in the
language of the page. Beside them the page always shows the rule's own sentence with its citation. A rule
without such words is shown by that sentence alone.
"""

from collections.abc import Mapping

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.law import rulebook

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
    """A requirement in plain words; its own sentence where there are none, as for a school's minimum."""
    known = rulebook.current().requirements.get(rule.id)
    return gettext(known.plain) if known and known.plain else rule.says


def expiring(requirement: str) -> str | None:
    """What it is that expires with a requirement of that id; None where there are no words for it."""
    known = rulebook.current().requirements.get(requirement)
    return gettext(known.expiring) if known and known.expiring else None


def kind(name: str) -> str:
    """A kind of time in plain words."""
    return gettext(KINDS[name])


def grade(name: str | None) -> str:
    """A grade in plain words; the word itself stands beside them on a page."""
    if name is None:
        return gettext("not graded yet")
    return gettext(GRADES[name]) if name in GRADES else name
