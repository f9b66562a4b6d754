"""Keeps the rows of a fixture for the tests that come after: each gets them as they were made.

``@kept`` makes a fixture whose rows are stored once, in a transaction around the tests that use it. Each test
runs in a savepoint within it, which takes back what the test did, and gets copies of the objects. The
transaction ends before a test that uses another fixture, none, or commits.
"""

import functools
import importlib
import pickle
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pytest
from django.db import connection, transaction
from pytest_django.plugin import DjangoDbBlocker

Make = Callable[..., Any]


@dataclass(frozen=True)
class Layer:
    """What one fixture stored, within the transaction of the layers before it."""

    make: Make
    around: transaction.Atomic
    #: What the fixtures of this layer and of those before it gave, in that order.
    objects: bytes


_layers: list[Layer] = []
#: The copies of the test that runs.
_copies: dict[Make, Any] = {}


def kept(make: Make) -> Any:
    """A fixture whose rows are kept. It uses ``db`` and other such fixtures; what it gives is pickled."""

    @functools.wraps(make)
    def give(**used: Any) -> Any:
        return _copies[make] if make in _copies else make(**used)

    give.kept = make  # type: ignore[attr-defined]
    return pytest.fixture(give)


def commits(request: pytest.FixtureRequest) -> bool:
    """True for a test whose rows are committed, so that the runner empties the tables after it."""
    mark = request.node.get_closest_marker("django_db")
    by_mark = mark is not None and mark.kwargs.get("transaction", False)
    return by_mark or not {"transactional_db", "live_server"}.isdisjoint(request.fixturenames)


def release(down_to: int = 0) -> None:
    """End the transactions of all layers but so many."""
    _forget_lost()
    while len(_layers) > down_to:
        layer = _layers.pop()
        transaction.set_rollback(True)
        layer.around.__exit__(None, None, None)


def _forget_lost() -> None:
    """Forget the layers where a test closed the connection: their transaction ended with it."""
    if connection.atomic_blocks[: len(_layers)] != [each.around for each in _layers]:
        _layers.clear()


@pytest.hookimpl(tryfirst=True)
def pytest_fixture_setup(fixturedef: pytest.FixtureDef[Any], request: pytest.FixtureRequest) -> None:
    """Store what the test needs just before its own transaction begins."""
    if fixturedef.argname == "_django_db_helper":
        blocker: DjangoDbBlocker = request.getfixturevalue("django_db_blocker")
        with blocker.unblock():
            _prepare(request)


def _prepare(request: pytest.FixtureRequest) -> None:
    _copies.clear()
    _forget_lost()
    if connection.atomic_blocks != [each.around for each in _layers]:
        return  # a transaction that is not ours is around this test: its fixtures are made within it
    wanted = [] if commits(request) else list(_wanted(request.node._fixtureinfo.name2fixturedefs))
    same = 0
    while same < min(len(wanted), len(_layers)) and _layers[same].make is wanted[same][0]:
        same += 1
    release(same)
    for make, uses in wanted[same:]:
        _add(make, uses)
    if _layers:
        _copies.update(_objects())
        _forget_answers()


def _forget_answers() -> None:
    """Let the program keep no answer about these rows: the test before may have put other rules in place."""
    for name in ("training.reports.eligibility", "training.reports.settings"):
        for each in vars(importlib.import_module(name)).values():
            if getattr(each, "__module__", "") == name and hasattr(each, "cache_clear"):
                each.cache_clear()


def _add(make: Make, uses: Mapping[str, Make | None]) -> None:
    around = transaction.atomic()
    around._from_testcase = True  # type: ignore[attr-defined]  # what is durable may run within it
    around.__enter__()
    try:
        objects = _objects()
        made = make(**{name: used and objects[used] for name, used in uses.items()})
        layer = Layer(make, around, pickle.dumps([*objects.values(), made]))
    except BaseException as error:
        around.__exit__(type(error), error, error.__traceback__)
        raise
    _layers.append(layer)


def _objects() -> dict[Make, Any]:
    """New copies of what the layers gave. An object that two of them gave is one object here too."""
    values = pickle.loads(_layers[-1].objects) if _layers else []  # noqa: S301  (pickled above)
    return dict(zip((each.make for each in _layers), values, strict=True))


def _wanted(
    defined: Mapping[str, Sequence[pytest.FixtureDef[Any]]],
) -> Iterator[tuple[Make, dict[str, Make | None]]]:
    """The fixtures of a test that are kept, each after those that it uses, with what it uses."""
    found: dict[Make, dict[str, Make | None]] = {}

    def visit(name: str, above: int = 0) -> Make | None:
        """``above``: how many of the definitions nearest to the test to leave out."""
        fixture = defined[name][-1 - above]
        make: Make | None = getattr(fixture.func, "kept", None)
        if make is not None and make not in found:
            uses = {each: visit(each, above + 1 if each == name else 0) for each in fixture.argnames}
            if foreign := [each for each, used in uses.items() if used is None and each != "db"]:
                raise TypeError(f"the fixture {name} is kept and uses {foreign[0]}, which is not")
            found[make] = uses
        return make

    for name in defined:
        visit(name)
    yield from found.items()
