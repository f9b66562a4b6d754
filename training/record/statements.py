"""Queries of several tables at once, each as one statement that is compiled once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from operator import itemgetter
from typing import Any

from django.db.models import (
    BigIntegerField,
    BooleanField,
    DateField,
    DateTimeField,
    DurationField,
    F,
    Field,
    QuerySet,
    TextField,
    UUIDField,
    Value,
)
from django.db.models.functions import Cast

from training.sql import Row, Statement


class Union:
    """Rows of several tables in one statement, so that all are of one moment.

    Columns of one kind share a column of the union; ``rows`` assigns them to the columns of each table again.
    """

    def __init__(self, members: Callable[[], Mapping[str, Member]]):
        self._members = members
        self._statement = Statement(self._united)

    @cached_property
    def _named(self) -> Mapping[str, Member]:
        return self._members()

    @cached_property
    def _slots(self) -> Mapping[str, int]:
        """How many columns of each kind the widest member needs."""
        counts = [Counter(each.kinds) for each in self._named.values()]
        return {kind: max(count[kind] for count in counts) for kind in KINDS}

    def _united(self) -> QuerySet[Any, Row]:
        made = []
        for number, member in enumerate(self._named.values()):
            own: dict[str, list[Any]] = {kind: [] for kind in KINDS}
            for column, kind in zip(member.columns, member.kinds, strict=True):
                own[kind].append(F(column) if isinstance(column, str) else column)
            nothing = {kind: Cast(Value(None), field()) for kind, field in KINDS.items()}
            filled_up = [
                expression
                for kind, width in self._slots.items()
                for expression in own[kind] + [nothing[kind]] * (width - len(own[kind]))
            ]
            made.append(member.rows.order_by().values_list(Value(number), *filled_up))
        first, *others = made
        return first.union(*others, all=True)

    @cached_property
    def _taken(self) -> list[Callable[[Row], Row]]:
        """For each member, how to take its columns out of a row."""
        begins, at = {}, 1
        for kind, width in self._slots.items():
            begins[kind], at = at, at + width
        made: list[Callable[[Row], Row]] = []
        for member in self._named.values():
            taken: Counter[str] = Counter()
            where = []
            for kind in member.kinds:
                where.append(begins[kind] + taken[kind])
                taken[kind] += 1
            # a tuple for one column too
            made.append(itemgetter(*where) if len(where) > 1 else itemgetter(slice(where[0], where[0] + 1)))
        return made

    def rows(self, **values: Any) -> dict[str, list[Row]]:
        """The rows of each member by its name, unordered. One query."""
        found: list[list[Row]] = [[] for _ in self._named]
        take = self._taken
        for row in self._statement.rows(**values):
            found[row[0]].append(take[row[0]](row))
        return dict(zip(self._named, found, strict=True))


#: Kinds of columns, by Django's field types.
KINDS: Mapping[str, type[Field[Any, Any]]] = {
    "TextField": TextField,
    "DateField": DateField,
    "DateTimeField": DateTimeField,
    "DurationField": DurationField,
    "BigIntegerField": BigIntegerField,
    "BooleanField": BooleanField,
    "UUIDField": UUIDField,
}
_SAME_KIND = {"CharField": "TextField"} | dict.fromkeys(
    ("BigAutoField", "ForeignKey", "IntegerField", "PositiveIntegerField", "PositiveSmallIntegerField"),
    "BigIntegerField",
)


@dataclass(frozen=True)
class Member:
    """A part of a union: rows of one table, with columns or expressions."""

    rows: QuerySet[Any]
    columns: tuple[Any, ...]

    @cached_property
    def kinds(self) -> tuple[str, ...]:
        return tuple(map(self._kind, self.columns))

    def _kind(self, column: Any) -> str:
        if not isinstance(column, str):
            return str(column.output_field.get_internal_type())
        model: Any = self.rows.model
        *through, last = column.split("__")
        for name in through:
            model = model._meta.get_field(name).related_model
        field = model._meta.pk if last == "pk" else model._meta.get_field(last)
        kind = field.get_internal_type()
        return _SAME_KIND.get(kind, kind)
