"""Solo releases for the tests: a flight, and an engine whose lines the test chooses."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from typing import Any

import pytest

from syllabus.engine.release.answers import Line, Release
from syllabus.engine.rules.reasons import Reason, reason
from tests.support.cast import Cast
from training import models
from training.reports import solo_checks
from training.services.releases import releases
from training.services.releases.releases import RELEASED

#: Noon at the school.
AT = dt.datetime(2026, 3, 3, 18, tzinfo=dt.UTC)
FLIGHT: dict[str, Any] = {
    "aircraft": {
        "registration": "N00XY",
        "model": "C172",
        "category": "airplane",
        "class": "single-engine land",
    },
    "route": ["KGRB", "KMTW", "KGRB"],
    "off": "2026-03-03T12:30:00-06:00",
    "on": "2026-03-03T14:00:00-06:00",
}
TO_CONFIRM = ("confirm.fuel", "confirm.notams")


class Engine:
    """Answers with lines of the test's choice in the place of the rules; confirmed lines are met."""

    def __init__(self) -> None:
        self.answers: dict[str, bool | None] = {"law.medical": True}
        self.ends: dt.datetime | None = None

    def __call__(self, *_: Any, confirmed: Iterable[str] = (), **__: Any) -> Release:
        lines = [Line(name, "law", met, _words(name), "14 CFR 61.3(c)") for name, met in self.answers.items()]
        lines += [
            Line(name, "confirm", True if name in confirmed else None, _words(name)) for name in TO_CONFIRM
        ]
        return Release(tuple(lines), self.ends)


def _words(name: str) -> Reason:
    return reason("release.says", says=f"The line {name}")


@pytest.fixture
def engine(monkeypatch: pytest.MonkeyPatch) -> Engine:
    made = Engine()
    monkeypatch.setattr(solo_checks, "check", made)
    return made


def asked(people: Cast, **more: Any) -> models.SoloRelease:
    """Sam asks for a release."""
    said = {"by": people.sams_account, "at": AT, "via": "web", "flight": FLIGHT, **more}
    entry = said.pop("entry", None) or uuid.uuid4()
    return releases.ask(people.sam, entry, said.pop("flight"), **said).release


def checked(release: models.SoloRelease, at: dt.datetime = AT) -> str:
    return releases.check_of(release, at).digest


def decided(people: Cast, release: models.SoloRelease, **more: Any) -> models.ReleaseDecision:
    """Ida decides, by default to release with every line confirmed."""
    said = {"by": people.ida, "at": AT, "via": "web", "lines_confirmed": TO_CONFIRM, **more}
    said.setdefault("checked_as", checked(release))
    return releases.decide(release, said.pop("decision", RELEASED), **said)
