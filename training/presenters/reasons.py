"""Reasons in words for people: the table's words in the reader's language, its amounts in decimal hours.

Days stay as ``2026-11-20``; a page that writes them otherwise replaces them in the whole text, since reasons
without a code have them too.
"""

from __future__ import annotations

from collections.abc import Callable

from django.utils.translation import gettext as translated
from django.utils.translation import ngettext as translated_by_number

from syllabus.engine.amounts import Amount, Amounts
from syllabus.engine.reasons import REASONS, Parameter, WholeMinutes, Words
from syllabus.engine.rulebook import RuleVersion
from syllabus.engine.units import MINUTE
from training.presenters import amounts
from training.presenters.amounts import Plural


def words(
    what: Words, gettext: Callable[[str], str] = translated, ngettext: Plural = translated_by_number
) -> str:
    """A reason in the reader's language; a text that has no code stays as it is."""
    if isinstance(what, str):
        return what
    told = {name: _told(value, ngettext) for name, value in what.parameters}
    return gettext(REASONS[what.code]) % told


def gave(
    rule: RuleVersion,
    what: Amounts | Words,
    gettext: Callable[[str], str] = translated,
    ngettext: Plural = translated_by_number,
) -> str:
    """What an entry gave to a requirement, as an amount or in words."""
    return amounts.gave(rule, what, ngettext) if isinstance(what, tuple) else words(what, gettext, ngettext)


def _told(value: Parameter, ngettext: Plural) -> str:
    if isinstance(value, Amount):
        return amounts.have((value,), ngettext)
    return amounts.hours(value.minutes * MINUTE) if isinstance(value, WholeMinutes) else str(value)
