"""Groups entries with the same reason into one line, with a range for values that differ."""

from collections.abc import Iterable
from datetime import date

from syllabus.engine.rules.reasons import One, Reason, WholeMinutes
from syllabus.engine.time.amounts import Amount
from training.presenters.reasons import Reader

#: More entries than this are shown as a range.
FEW = 3
_VARIES = (date, Amount, WholeMinutes)


def grouped(said: Iterable[tuple[str, Reason]], reader: Reader) -> list[tuple[list[str], str]]:
    """Entries with the same words, together; if only days or amounts differ, with their range."""
    alike: dict[str, list[tuple[str, Reason]]] = {}
    for entry, why in said:
        alike.setdefault(why.written(str, _fixed), []).append((entry, why))
    groups: list[tuple[list[str], str]] = []
    for pairs in alike.values():
        if len(pairs) > FEW:
            groups.append(([entry for entry, _ in pairs], _ranged(pairs, reader)))
            continue
        same: dict[str, list[str]] = {}
        for entry, why in pairs:
            same.setdefault(reader.words(why), []).append(entry)
        groups.extend((entries, words) for words, entries in same.items())
    return groups


def _fixed(_reason: Reason, _name: str, value: One) -> str:
    return type(value).__name__ if isinstance(value, _VARIES) else str(value)


def _ranged(pairs: list[tuple[str, Reason]], reader: Reader) -> str:
    """The sentence with each differing value as a range; for amounts with the entry at either end."""
    columns = iter(list(zip(*(why.values() for _, why in pairs), strict=True)))

    def one(reason: Reason, name: str, value: One) -> str:
        found = next(columns)
        if len({str(each) for each in found}) == 1:
            return reader.one(reason, name, value)
        low, high = (
            min(range(len(found)), key=lambda at: _size(found[at])),
            max(reversed(range(len(found))), key=lambda at: _size(found[at])),
        )
        first, last = reader.one(reason, name, found[low]), reader.one(reason, name, found[high])
        if isinstance(value, date):
            return f"{first} to {last}"
        return f"{first} ({pairs[low][0]}) to {last} ({pairs[high][0]})"

    return pairs[0][1].written(reader.gettext, one)


def _size(value: One) -> int:
    if isinstance(value, date):
        return value.toordinal()
    return (
        value.value if isinstance(value, Amount) else value.minutes if isinstance(value, WholeMinutes) else 0
    )
