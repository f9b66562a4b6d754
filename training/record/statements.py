"""Questions to the database that are put together once and asked many times.

Django builds the SQL of a question anew each time, which for a question of many columns or conditions takes
longer than its answer. A statement is built once for each database, with places for what is asked about.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from operator import itemgetter
from typing import Any

from django.db import DEFAULT_DB_ALIAS, connection
from django.db.models import (
    BigIntegerField,
    BooleanField,
    DateField,
    DateTimeField,
    DurationField,
    Expression,
    F,
    Field,
    QuerySet,
    TextField,
    UUIDField,
    Value,
)
from django.db.models.functions import Cast

Row = tuple[Any, ...]


class Place(Expression):
    """Where a value of the question goes, such as the student."""

    def __init__(self, name: str, of: Field[Any, Any]):
        super().__init__(output_field=of)
        self.name = name

    def as_sql(self, compiler: Any, connection: Any) -> Any:
        return "%s", [self]


def filled(places: tuple[Any, ...], values: Mapping[str, Any]) -> list[Any]:
    """The parameters of a statement: each place with its value, as the database takes it."""
    return [
        each.output_field.get_db_prep_value(values[each.name], connection)
        if isinstance(each, Place)
        else each
        for each in places
    ]


class Statement:
    """What a queryset of tuples with places in it asks, as SQL that is built when it is asked first."""

    def __init__(self, question: Callable[[], QuerySet[Any, Row]]):
        self._question = question

    @cached_property
    def _written(self) -> tuple[str, tuple[Any, ...], list[tuple[int, list[Any], Any]]]:
        """The SQL with its places, and how a database that has fewer types than we turns columns back."""
        compiler = self._question().query.get_compiler(DEFAULT_DB_ALIAS)
        sql, places = compiler.as_sql()
        turned = compiler.get_converters([column for column, _, _ in compiler.select])
        return sql, tuple(places), [(at, *how) for at, how in turned.items()]

    def rows(self, **values: Any) -> list[Row]:
        """The answer, where every place has its value by its name. One query."""
        sql, places, turned = self._written
        with connection.cursor() as cursor:
            cursor.execute(sql, filled(places, values))
            found: list[Row] = cursor.fetchall()
        return [_turned(row, turned) for row in found] if turned else found


def _turned(row: Row, turned: list[tuple[int, list[Any], Any]]) -> Row:
    columns = list(row)
    for at, converters, column in turned:
        value = columns[at]
        if value is not None:
            for convert in converters:
                value = convert(value, column, connection)
            columns[at] = value
    return tuple(columns)


class Union:
    """Rows of several tables in one statement, so that all are of one moment.

    Columns of one kind stand under each other, whatever they mean; ``rows`` puts each row back into the
    columns of its table.
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
        """For each member, how its columns are taken out of a row."""
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
            # A tuple for one column too.
            made.append(itemgetter(*where) if len(where) > 1 else itemgetter(slice(where[0], where[0] + 1)))
        return made

    def rows(self, **values: Any) -> dict[str, list[Row]]:
        """By the name of each member its rows, in no order. One query."""
        found: list[list[Row]] = [[] for _ in self._named]
        take = self._taken
        for row in self._statement.rows(**values):
            found[row[0]].append(take[row[0]](row))
        return dict(zip(self._named, found, strict=True))


#: Kinds of columns, by what Django calls the fields.
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
    """A part of a union: rows of one table, and which of their columns, or expressions, are wanted."""

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
