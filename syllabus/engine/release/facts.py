"""What a release rests on besides the record: what is known of the aircraft."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Protocol

from syllabus.engine.record.limits import Limits as Limits


class Check(Protocol):
    """An inspection that was done, or a document that was issued."""

    @property
    def kind(self) -> str: ...
    @property
    def done(self) -> date: ...
    @property
    def expires(self) -> date | None: ...


class Grounding(Protocol):
    """Why an aircraft may not be flown (``grounded``), or an open defect (``defect``)."""

    @property
    def kind(self) -> str: ...
    @property
    def reason(self) -> str: ...


@dataclass(frozen=True)
class AircraftFacts:
    """What a school has on record of an aircraft: its model, and its checks, the newest last."""

    checks: Sequence[Check] = ()
    groundings: Sequence[Grounding] = ()
    model: str = ""
