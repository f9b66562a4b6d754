"""The lines about the aircraft: its inspections and documents, groundings and open defects."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from syllabus.engine.errors import NotInForce
from syllabus.engine.release.answers import AIRCRAFT, GROUNDED, Law, Line, line_of, midnight_after
from syllabus.engine.release.asking import Asking
from syllabus.engine.rules.facts import same
from syllabus.engine.rules.reasons import reason
from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.engine.time import calendar


def papers(asking: Asking, law: Law) -> Iterator[Line]:
    """Inspections and documents: those that every flight needs, and those that some flights need."""
    facts = asking.aircraft
    for kind in law.papers:
        try:
            rule = law.papers.on(kind, asking.day)
        except NotInForce:
            continue
        done = [each for each in facts.checks if each.kind == kind] if facts else []
        done = [each for each in done if each.done <= asking.day]
        always = bool(rule.get("always"))
        if not done:
            if always:
                title = rule.params["title"]
                asks = (reason("release.ask-paper", title=title),)
                yield line_of(
                    f"paper.{kind}", AIRCRAFT, None, reason("release.says", says=rule.says), rule, asks
                )
            continue
        yield _paper(asking, kind, rule, _last_day(rule, done[-1]), always)


def _paper(asking: Asking, kind: str, rule: RuleVersion, last: Any, always: bool) -> Line:
    title, id = rule.params["title"], f"paper.{kind}"
    if last is None or last >= asking.day:
        if last is not None:
            asking.ends.append(midnight_after(last, asking.zone))
        told = (
            reason("release.paper", title=title, day=last)
            if last
            else reason("release.paper-kept", title=title)
        )
        return line_of(id, AIRCRAFT, True, told, rule)
    if always:
        return line_of(id, AIRCRAFT, False, reason("release.paper-ended", title=title, day=last), rule)
    return asking.confirm(id, reason("release.paper-not-needed", title=title, day=last), rule)


def groundings(asking: Asking) -> Iterator[Line]:
    if asking.aircraft is None:
        ask = reason("release.ask-groundings")
        yield Line("groundings", AIRCRAFT, None, reason("release.no-groundings"), ask=(ask,))
        return
    model = asking.flight.aircraft.model
    if asking.aircraft.model and (not model or same(model) != same(asking.aircraft.model)):
        told = reason("release.other-model", model=asking.aircraft.model)
        yield Line("aircraft.model", AIRCRAFT, False, told)
    if not asking.aircraft.groundings:
        yield Line("groundings", AIRCRAFT, True, reason("release.no-groundings"))
    for number, each in enumerate(asking.aircraft.groundings, start=1):
        told = (
            reason("release.grounded", why=each.reason)
            if each.kind == GROUNDED
            else reason("release.defect", why=each.reason)
        )
        yield Line(f"groundings.{number}", AIRCRAFT, False, told)


def _last_day(rule: RuleVersion, done: Any) -> Any:
    life = rule.get("life")
    lives = None if life is None else calendar.last_day(done.done, life)
    ends = [each for each in (lives, done.expires) if each is not None]
    return min(ends, default=None)
