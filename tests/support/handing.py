"""Hand-overs for the tests: a student who was taught and endorsed, and another school's key."""

from __future__ import annotations

import base64
import contextlib
import datetime as dt
import io
import uuid
import zipfile
from collections.abc import Iterator
from typing import Any

from django.test import override_settings

from syllabus.engine.record import record as engine
from tests.support import factories, lessons
from tests.support.cast import Cast
from training import models
from training.ledger.core import package
from training.ledger.store import keys
from training.services.endorsements import endorsements
from training.services.lessons import sign_offs
from training.services.transfer import handover

AT = lessons.AT + dt.timedelta(days=9)
OTHER_KEY = base64.b64encode(b"the key of another school, 32 b.").decode()


def trained(people: Cast) -> models.LessonRecord:
    """Sam, with a lesson that was put right, one acknowledged, an endorsement, and papers from before."""
    whose = engine.Student(people.sam.name, people.sam.birth_date)
    factories.attested(people.sam, engine.Record(student=whose, **records()), by=people.ada)
    first = lessons.signed(people)
    sign_offs.acknowledge(first.pk, by=people.sams_account, at=lessons.AT, via="api")
    wrong = lessons.signed(
        people,
        lessons.flown(date="2026-02-20", off="2026-02-20T13:00:00-06:00", on="2026-02-20T14:24:00-06:00"),
        lesson="S1-L2",
    )
    right = sign_offs.correct(
        wrong,
        id=uuid.uuid4(),
        reason="the day was written wrong",
        content=lessons.flown(
            date="2026-02-21", off="2026-02-21T13:00:00-06:00", on="2026-02-21T14:24:00-06:00"
        ),
        by=people.ida,
        at=lessons.AT,
        via="api",
    )
    lessons.sign(right, people.ida)
    endorsements.give(people.sam, uuid.uuid4(), "knowledge-test", {}, by=people.ida, at=lessons.AT, via="api")
    return first


def records() -> dict[str, Any]:
    from syllabus.engine.record import document

    found = document.parse(
        {
            "format": "training-record/1",
            "documents": [
                {"id": "medical", "kind": "medical", "class": "third", "issued": "2026-01-05"},
                {"id": "student", "kind": "student-pilot-certificate", "issued": "2026-01-10"},
            ],
            "flights": [
                {
                    "id": "elsewhere-1",
                    "date": "2026-01-20",
                    "aircraft": {"model": "C172", "category": "airplane", "class": "single-engine land"},
                    "route": ["KGRB", {"name": "grass strip", "lat": 44.1, "lon": -87.9}, "KGRB"],
                    "times": {"total": "1.4 h", "dual": "1.4 h"},
                    "instructor": {"name": "Bo Example", "certificate": "0000009CFI"},
                }
            ],
        }
    )
    return {"documents": found.documents, "flights": found.flights}


@contextlib.contextmanager
def elsewhere() -> Iterator[None]:
    """The key of another installation signs."""
    with override_settings(LEDGER_SIGNING_KEY=OTHER_KEY):
        yield


def made(people: Cast, *, at: dt.datetime = AT) -> tuple[bytes, str]:
    """Sam's hand-over, signed with another installation's key, which is unknown here; and the key's id."""
    with elsewhere():
        raw = handover.make(people.sam, by=people.ada, at=at, via="api")
        return raw, keys.signer().kid


def forget_the_key() -> None:
    """As at a school whose database never saw that key."""
    from django.db import connection

    from tests.support.lifting import lifted

    with lifted(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM ledger_ledgerkey")


def files(raw: bytes) -> dict[str, bytes]:
    """As any ZIP program reads them."""
    with zipfile.ZipFile(io.BytesIO(raw)) as packed:
        assert packed.testzip() is None
        return {name: packed.read(name) for name in packed.namelist()}


def packed(found: dict[str, bytes]) -> bytes:
    return package.write(found)
