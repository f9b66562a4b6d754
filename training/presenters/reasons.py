"""Reasons in words for people, in the reader's language.

Times are in decimal hours, days as on the page around them, and entries and items by name.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache

from django.utils.translation import gettext, ngettext

from syllabus.engine.rules.reasons import Limit, Named, One, Reason, WholeMinutes
from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.engine.time.amounts import Amount, Amounts
from syllabus.engine.time.units import MINUTE
from syllabus.law import rulebook
from training.presenters import amounts
from training.presenters.amounts import Plural
from training.presenters.days import clock, day

#: Amounts that are rounded up, so that nothing unmet looks met.
_UP = ("remaining",)


def called(code: str) -> str:
    """The title of an item, requirement or milestone; its code if the rules have none."""
    named = _called(rulebook.current().id)
    return named.get(code) or named.get(code.partition("/")[0], code)


@lru_cache(maxsize=2)
def _called(_rules: str) -> dict[str, str]:
    rules = rulebook.current()
    says = {each.id: each.versions[-1].says for each in rules.requirements.values()}
    titles = {each.id: each.title for each in rules.milestones.values()}
    return says | titles | dict(rules.items)


@dataclass(frozen=True)
class Reader:
    """How a reader writes reasons; by default like a page in the active language.

    ``named`` gives the name of an entry or an item by its id.
    """

    gettext: Callable[[str], str] = gettext
    ngettext: Plural = ngettext
    day: Callable[[date], str] = day
    clock: Callable[[datetime], str] = clock
    named: Callable[[str], str] = called

    def words(self, what: Reason) -> str:
        return what.written(self.gettext, self.one)

    def gave(self, rule: RuleVersion, what: Amounts | Reason) -> str:
        """An entry's share of a requirement, as an amount or in words."""
        return amounts.gave(rule, what, self.ngettext) if isinstance(what, tuple) else self.words(what)

    def one(self, reason: Reason, name: str, value: One) -> str:
        """A value in the words of a reason."""
        if isinstance(value, Amount):
            limits = [each.hundredths for _, each in reason.parameters if isinstance(each, Limit)]
            return amounts.one(value, self.ngettext, limits, up=name in _UP)
        if isinstance(value, WholeMinutes):
            return amounts.hours(value.minutes * MINUTE)
        if isinstance(value, datetime):
            return self.clock(value)
        if isinstance(value, date):
            return self.day(value)
        if isinstance(value, Named):
            return value.title or self.named(value.id)
        return str(value)


PAGE = Reader()
