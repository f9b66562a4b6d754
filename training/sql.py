"""Statements that are put together once and sent with other values each time, and new rows in as few.

Django puts the SQL of a queryset together anew each time it is asked, which often costs several times what
sending it does. Here it is Django too that does it, for the database at hand, but the first time only, with
places for what is asked about. For what is asked at every turn; elsewhere a queryset is simpler.
"""

from __future__ import annotations

import functools
import itertools
import operator
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import DEFAULT_DB_ALIAS, connection, models
from django.db.models.query import get_related_populators
from django.db.models.sql import UpdateQuery
from django.db.transaction import TransactionManagementError

Row = tuple[Any, ...]
#: Fields whose values are sent as they are.
_PLAIN = (models.BooleanField, models.CharField, models.IntegerField, models.TextField)


class Place(models.Expression):
    """Where a value of the question goes, such as the student; it is never None."""

    def __init__(self, name: str, of: models.Field[Any, Any]):
        super().__init__(output_field=of)
        self.name = name

    def as_sql(self, compiler: Any, connection: Any) -> Any:
        return "%s", [self]


def filled(places: Sequence[Any], values: Mapping[str, Any]) -> list[Any]:
    """The parameters of a statement: each place with its value, as the database takes it."""
    return [
        each.output_field.get_db_prep_value(values[each.name], connection)
        if isinstance(each, Place)
        else each
        for each in places
    ]


@dataclass(frozen=True)
class _Written:
    """The SQL of a question with its places, and what makes its answer tuples, or models out of them."""

    sql: str
    places: Sequence[Any]
    turned: Callable[[list[Row]], list[Row]]
    made: Callable[[Row], Any]
    locks: bool


def _write(queryset: models.QuerySet[Any, Any]) -> _Written:
    """Django's own SQL for a queryset, and how it reads the answer.

    This and ``Change`` alone look into Django's compiler, which promises nothing from one release to the
    next: the tests compare every kind of statement with the queryset, by the Django that is installed.
    """
    query: Any = queryset.query
    compiler = query.get_compiler(DEFAULT_DB_ALIAS)
    sql, places = compiler.as_sql()
    select, info = compiler.select, compiler.klass_info
    populators: Any = get_related_populators  # whose types are those of a later Django
    converters = compiler.get_converters([column for column, *_ in select])

    def turned(rows: list[Row]) -> list[Row]:
        return [tuple(row) for row in compiler.apply_converters(rows, converters)] if converters else rows

    own = slice(info["select_fields"][0], info["select_fields"][-1] + 1) if info else slice(0)
    names = [column.target.attname for column, *_ in select[own]]
    related = populators(info, select, DEFAULT_DB_ALIAS) if info else []
    annotated = compiler.annotation_col_map or {}

    def made(row: Row) -> Any:
        found = queryset.model.from_db(DEFAULT_DB_ALIAS, names, row[own])
        for each in related:
            each.populate(row, found)
        for name, column in annotated.items():
            setattr(found, name, row[column])
        return found

    return _Written(sql, tuple(places), turned, made, query.select_for_update)


class Statement:
    """What a queryset with places in it asks, as SQL that is put together when it is asked first.

    A place may not stand where Django looks at the value: ``in``, ``iexact``, ``startswith``.
    """

    def __init__(self, question: Callable[[], models.QuerySet[Any, Any]]):
        self._question = question

    def rows(self, **values: Any) -> list[Row]:
        """The answer to a question for tuples, where every place has its value by its name. One query."""
        with connection.cursor() as cursor:
            cursor.execute(self._written.sql, filled(self._written.places, values))
            return self._written.turned(cursor.fetchall())

    def instances(self, **values: Any) -> list[Any]:
        """The same to a question for models, with what ``select_related`` names.

        Raises: TransactionManagementError where rows are to be locked outside a transaction.
        """
        if self._written.locks and not connection.in_atomic_block:
            raise TransactionManagementError("rows are locked inside a transaction alone")
        return [self._written.made(row) for row in self.rows(**values)]

    @functools.cached_property
    def _written(self) -> _Written:
        return _write(self._question())


class Change:
    """The UPDATE of a queryset: ``change`` gives it, and the new values by their fields; both hold places."""

    def __init__(self, change: Callable[[], tuple[models.QuerySet[Any, Any], Mapping[str, Any]]]):
        self._change = change

    def __call__(self, **values: Any) -> int:
        """Change the rows, where every place has its value by its name; returns how many there were."""
        sql, places = self._written
        with connection.cursor() as cursor:
            cursor.execute(sql, filled(places, values))
            return int(cursor.rowcount)

    @functools.cached_property
    def _written(self) -> tuple[str, Sequence[Any]]:
        queryset, changes = self._change()
        query: Any = queryset.query.chain(UpdateQuery)
        query.add_update_values(changes)
        made: tuple[str, Sequence[Any]] = query.get_compiler(DEFAULT_DB_ALIAS).as_sql()
        return made


# New rows


def insert(rows: Sequence[models.Model]) -> None:
    """Put new rows into the database, as ``bulk_create`` does; each gets the key that it was given.

    Rows of one model that stand side by side go by one statement, and all statements in one message where
    the database takes several. Values are of their fields' types, and none is a row that has no key yet.
    """
    sent: list[tuple[str, list[Any], list[models.Model], bool]] = []
    for (model, keyed), same in itertools.groupby(rows, lambda row: (type(row), row.pk is not None)):
        form, new = _insertion(model, keyed), list(same)
        most = connection.ops.bulk_batch_size(form.fields, new)
        for some in (new[at : at + most] for at in range(0, len(new), most)):
            sent.append((form.statement(len(some)), form.values(some, connection), some, not keyed))
    together = len(sent) > 1 and _takes_several(connection)
    with connection.cursor() as cursor:
        if together:
            cursor.execute(
                "; ".join([sql for sql, *_ in sent]), [one for _, values, *_ in sent for one in values]
            )
        for number, (sql, values, some, returns) in enumerate(sent):
            if not together:
                cursor.execute(sql, values)
            elif number:
                cursor.nextset()
            if returns:
                for row, (key,) in zip(some, cursor.fetchall(), strict=True):
                    row.pk = key
            for row in some:
                row._state.adding, row._state.db = False, DEFAULT_DB_ALIAS


def _takes_several(connection: Any) -> bool:
    """Whether a message may hold several statements: where the driver puts the values into their text."""
    apart = connection.settings_dict["OPTIONS"].get("server_side_binding")
    return connection.vendor == "postgresql" and not apart


@dataclass(frozen=True)
class _Insertion:
    """How rows of a model are written: its fields, those whose values need another form, the statement."""

    fields: Sequence[Any]
    read: Callable[[Any], tuple[Any, ...]]
    formed: Sequence[tuple[int, Callable[..., Any]]]
    into: str
    returning: str

    def statement(self, rows: int) -> str:
        row = f"({', '.join(['%s'] * len(self.fields))})"
        return f"{self.into} VALUES {', '.join([row] * rows)}{self.returning}"

    def values(self, rows: Sequence[models.Model], connection: Any) -> list[Any]:
        found: list[Any] = []
        for row in rows:
            values = list(self.read(row))
            for place, form in self.formed:
                values[place] = form(values[place], connection)
            found += values
        return found


@functools.cache
def _insertion(model: type[models.Model], keyed: bool) -> _Insertion:
    quoted: Callable[..., str] = connection.ops.quote_name
    meta = model._meta
    fields = [each for each in meta.concrete_fields if keyed or not isinstance(each, models.AutoField)]
    names = ", ".join(quoted(each.column) for each in fields)
    return _Insertion(
        fields,
        operator.attrgetter(*[each.attname for each in fields]),
        [(place, each.get_db_prep_save) for place, each in enumerate(fields) if not _is_plain(each)],
        f"INSERT INTO {quoted(meta.db_table)} ({names})",
        "" if keyed else f" RETURNING {quoted(meta.pk.column)}",
    )


def _is_plain(field: Any) -> bool:
    return isinstance(getattr(field, "target_field", field), _PLAIN)
