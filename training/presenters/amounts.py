"""Amounts in words, for pages, e-mails and the terminal.

Times are in decimal hours, never in minutes or seconds: with one place, or with two if that is exact. Other
times are rounded to one place so that no unmet requirement looks met: ``have`` is rounded down, ``need`` and
``remaining`` up. ``exact`` gives the unrounded amount for a ``title``. Distances are in whole nautical miles,
rounded down, with one decimal within a mile of a limit.
"""

from collections.abc import Callable, Iterable, Mapping

from django.utils.translation import gettext as _
from django.utils.translation import ngettext as translated

from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.engine.time import amounts as engine
from syllabus.engine.time.amounts import DISTANCE, TIME, Amount, Amounts
from syllabus.engine.time.units import HOUR, QuantityError, format_time, parse_time

Plural = Callable[[str, str, int], str]
"""As ``ngettext``: singular, plural and number in, the one that fits out."""
UNKNOWN = "?"
_NM = 100  # in hundredths, the base of every distance
_TENTH, _HUNDREDTH = HOUR // 10, HOUR // 100
#: Limits that a rule about one flight compares a distance with.
_LIMITS = ("total_more_than", "total_at_least")
#: Things that are counted, singular and plural.
_COUNTED: Mapping[str, Callable[[Plural, int], str]] = {
    "airport": lambda ngettext, n: ngettext("%d airport", "%d airports", n),
    "certificate": lambda ngettext, n: ngettext("%d certificate", "%d certificates", n),
    "document": lambda ngettext, n: ngettext("%d document", "%d documents", n),
    "endorsement": lambda ngettext, n: ngettext("%d endorsement", "%d endorsements", n),
    "flight": lambda ngettext, n: ngettext("%d flight", "%d flights", n),
    "item": lambda ngettext, n: ngettext("%d item", "%d items", n),
    "landing": lambda ngettext, n: ngettext("%d landing", "%d landings", n),
    "lesson": lambda ngettext, n: ngettext("%d lesson", "%d lessons", n),
    "medical": lambda ngettext, n: ngettext("%d medical", "%d medicals", n),
    "requirement": lambda ngettext, n: ngettext("%d requirement", "%d requirements", n),
    "takeoff": lambda ngettext, n: ngettext("%d takeoff", "%d takeoffs", n),
    "test": lambda ngettext, n: ngettext("%d test", "%d tests", n),
    "year": lambda ngettext, n: ngettext("%d year", "%d years", n),
}


def hours(microseconds: int, *, up: bool = False) -> str:
    """A time in decimal hours; where two places are not exact, one place, rounded down, or ``up``.

    >>> minute = HOUR // 60
    >>> [hours(each * minute) for each in (84, 99, 85, 2737)], hours(85 * minute, up=True)
    (['1.4 h', '1.65 h', '1.4 h', '45.6 h'], '1.5 h')
    """
    return f"{_hours(microseconds, up)} h"


def logged(text: str) -> str:
    """A time as the record document writes it, in decimal hours; what is no time stays as it is.

    >>> logged("85 min"), logged("0.5 h")
    ('1.4 h', '0.5 h')
    """
    try:
        return hours(parse_time(text))
    except QuantityError:
        return text


def have(amounts: Amounts, ngettext: Plural = translated) -> str:
    """The amount on record: ``1.4 h``, ``10 takeoffs, 1 landing``; ``?`` if unknown."""
    return _words(amounts, ngettext)


def need(amounts: Amounts, ngettext: Plural = translated) -> str:
    """What is needed."""
    return _words(amounts, ngettext, up=True)


def remaining(amounts: Amounts, ngettext: Plural = translated) -> str:
    """What remains; ``?`` if unknown."""
    return _words(amounts, ngettext, up=True)


def gave(rule: RuleVersion, what: Amounts, ngettext: Plural = translated) -> str:
    """An entry's share of a requirement."""
    limits = [limit for name in _LIMITS if (limit := rule.get(name)) is not None]
    return _words(what, ngettext, limits=limits)


def one(what: Amount, ngettext: Plural = translated, limits: Iterable[int] = (), *, up: bool = False) -> str:
    """One amount in a sentence; a distance near one of ``limits`` has a decimal."""
    return _words((what,), ngettext, up=up, limits=limits)


def of(there: Amounts, needed: Amounts) -> str:
    """The amount on record and the one needed: ``1.4 of 3.0 h``, ``0 of 1 flight``."""
    if [each.unit for each in there] == [each.unit for each in needed] and len(there) == 1:
        mine = _number(there[0], up=False)
    else:
        mine = have(there)
    return _("%(have)s of %(need)s") % {"have": mine, "need": need(needed)}


def exact(*amounts: Amounts) -> str:
    """The exact amounts where the words for people round one of them, else nothing.

    >>> exact((engine.time(85 * 60_000_000),)), exact((engine.time(HOUR),))
    ('85 min', '')
    """
    if not any(_rounds(each) for some in amounts for each in some):
        return ""
    if len(amounts) == 1:
        return engine.text(amounts[0])
    there, needed = map(engine.text, amounts)
    return _("%(have)s of %(need)s") % {"have": there, "need": needed}


def _words(amounts: Amounts, ngettext: Plural, *, up: bool = False, limits: Iterable[int] = ()) -> str:
    return ", ".join(_named(each, ngettext, up, limits) for each in amounts) or UNKNOWN


def _named(each: Amount, ngettext: Plural, up: bool, limits: Iterable[int]) -> str:
    if each.unit in _COUNTED:
        return _COUNTED[each.unit](ngettext, each.value) % each.value
    return f"{_number(each, up, limits)} {'h' if each.unit == TIME else 'NM'}"


def _number(each: Amount, up: bool, limits: Iterable[int] = ()) -> str:
    if each.unit == TIME:
        return _hours(each.value, up)
    if each.unit == DISTANCE:
        return _nautical_miles(each.value, limits)
    return str(each.value)


def _hours(microseconds: int, up: bool) -> str:
    if microseconds % _HUNDREDTH == 0:
        return format_time(microseconds).removesuffix(" h")
    tenths = -(-microseconds // _TENTH) if up else microseconds // _TENTH
    return f"{tenths // 10}.{tenths % 10}"


def _nautical_miles(hundredths: int, limits: Iterable[int]) -> str:
    if any(abs(hundredths - limit) < _NM for limit in limits):
        return f"{hundredths // _NM}.{hundredths % _NM // 10}"
    return str(hundredths // _NM)


def _rounds(each: Amount) -> bool:
    return each.value % (_HUNDREDTH if each.unit == TIME else _NM if each.unit == DISTANCE else 1) != 0
