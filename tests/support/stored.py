"""Stores once what several tests read."""

import contextlib
from collections.abc import Iterator

from django.db import transaction
from pytest_django.plugin import DjangoDbBlocker


@contextlib.contextmanager
def stored(blocker: DjangoDbBlocker) -> Iterator[None]:
    """What is stored in the block stays to its end. Each test within it leaves all as it was."""
    around = transaction.atomic()
    around._from_testcase = True  # type: ignore[attr-defined]  # what is durable may stand in it
    with blocker.unblock(), around:
        yield
        transaction.set_rollback(True)
