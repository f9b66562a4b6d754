"""What one entry gives to a total of logged time: a flight by what it logs, a device by what is credited."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from syllabus.engine.record.record import DEVICES, Document, Flight, Record
from syllabus.engine.rules import conflicts, facts, journeys
from syllabus.engine.rules.kinds import registry
from syllabus.engine.rules.kinds.registry import Param
from syllabus.engine.rules.kinds.training import PREPARATION
from syllabus.engine.rules.logged import Share
from syllabus.engine.rules.question import Question
from syllabus.engine.rules.reasons import NOTHING, Limit, Named, Reason, WholeMinutes, reason
from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.engine.time import amounts
from syllabus.engine.time.days import Days

DEVICE_CREDIT = registry.struct(
    together=(("by_letter", "letter"),),
    devices=Param(registry.words(*DEVICES), True),
    by_letter=Param(registry.words(*DEVICES)),
    letter=Param(registry.word()),
    at_most=Param(registry.time, True),
)


def doubt(
    flight: Flight, share: Share, rule: RuleVersion, question: Question, doubts: Mapping[str, Reason]
) -> None:
    """Take from what is sure the hours that another fact on record contradicts; they stay possible."""
    if not share.sure:
        return
    if against := doubts.get(flight.id):
        share.sure = 0
        share.missing += (against,)
        return
    if "night" in rule.params["counts"] and (by_day := conflicts.night_conflict(flight)):
        share.sure = 0
        share.missing += (by_day,)
        return
    bound = conflicts.hours_bound(flight, question.settings)
    if bound is not None and share.sure > bound:
        logged = amounts.time(share.sure)
        share.sure = bound
        share.missing += (reason("time.over-clock", logged=logged, most=amounts.time(bound)),)


def device_share(
    rule: RuleVersion,
    question: Question,
    flight: Flight,
    credit: dict[str, Any] | None,
    letters: list[Document],
) -> Share | None:
    """Time in a device: never flight time; a rule may credit instruction in it, up to a cap."""
    device, dual = flight.aircraft.device or "", flight.times.get("dual", 0)
    if credit is None or not dual:
        if not min(facts.logged(flight, name) or 0 for name in rule.params["counts"]):
            return None
        return Share(
            why=reason("device.no-flight-time" if credit is None else "device.no-training", device=device)
        )
    by_instructor, why = facts.taught(flight)
    if not by_instructor:
        return Share(why=why)
    if other := _represents_other(question, flight):
        return Share(why=other)
    if device in credit["devices"]:
        share = Share(dual, dual, device=True)
        if question.models.kind_of(flight.aircraft)[0] is None:
            share.sure, share.missing = 0, (reason("device.category-unknown"),)
        return share
    if device not in credit.get("by_letter", ()):
        return Share(why=reason("device.no-credit", device=device))
    if _authorized(flight, letters):
        return Share(dual, dual, device=True)
    return Share(
        0, dual, device=True, why=reason("device.no-letter", device=device),
        missing=(reason("device.letter-unknown", device=device, document=credit["letter"]),),
    )  # fmt: skip


def _represents_other(question: Question, flight: Flight) -> Reason:
    """Of which other class or category the aircraft is that a device represents; else nothing."""
    category, klass = question.models.kind_of(flight.aircraft)
    if klass is not None and question.klass is not None and klass.split()[0] != question.klass.split()[0]:
        return reason("device.other-class", represents=klass, credited=question.klass)
    if category is not None and question.category is not None and category != question.category:
        return reason("device.other-category", represents=category, credited=question.category)
    return NOTHING


def _authorized(flight: Flight, letters: list[Document]) -> bool:
    """Whether a letter names the device's model and was in force on the day it was used."""
    model = facts.same(flight.aircraft.model)
    return any(
        letter.aircraft_model is not None
        and facts.same(letter.aircraft_model) == model
        and flight.date in Days.between(letter.issued, letter.expires)
        for letter in letters
    )


def flight_share(rule: RuleVersion, record: Record, question: Question, flight: Flight) -> Share | None:
    """What a flight gives; None where it has nothing to do with the rule."""
    counts = rule.params["counts"]
    if len(counts) == 1 and counts[0] != "night":
        amount = facts.logged(flight, counts[0]) or 0
        return _limited(rule, record, question, flight, Share(amount, amount))
    amounts = {name: facts.logged(flight, name) for name in counts}
    unknown = NOTHING
    if "night" in amounts and amounts["night"] is None and (unknown := facts.night_unknown(flight)):
        del amounts["night"]
    at_most = min(amount or 0 for amount in (amounts or {"total": flight.times.get("total")}).values())
    if not at_most:
        return _unlogged_night(flight, amounts)
    share = Share(at_most, at_most)
    if len(amounts) > 1:
        _overlap(flight, share, amounts)
    if unknown:
        share.sure = 0
        share.missing += (unknown,)
    return _limited(rule, record, question, flight, share)


def _overlap(flight: Flight, share: Share, amounts: dict[str, int | None]) -> None:
    """Take from what is sure what need not fall together: times do only as far as they fill the entry."""
    given = [amount or 0 for amount in amounts.values()]
    whole = flight.times.get("total") or max(given)
    share.sure = min(share.possible, max(0, sum(given) - (len(given) - 1) * whole))
    if share.sure < share.possible:
        together = " and ".join(map(_worded, amounts))
        share.missing = (reason("time.overlap-unknown", times=together),)


def _unlogged_night(flight: Flight, amounts: dict[str, int | None]) -> Share | None:
    """An entry flown at night, by its off and on, whose night nobody logged: gives nothing, and says so."""
    others = [amount for name, amount in amounts.items() if name != "night"]
    if "night" not in amounts or amounts["night"] is not None or not others or not all(others):
        return None
    if not (computed := facts.computed_night(flight)):
        return None
    minutes = WholeMinutes(facts.minutes(computed))
    return Share(why=reason("time.night-not-logged", computed=minutes))


def _worded(name: str) -> str:
    return name.replace("_", "-")


def _limited(rule: RuleVersion, record: Record, question: Question, flight: Flight, share: Share) -> Share:
    """The share, less what the rule's other conditions do not let count."""
    params = rule.params
    prepares = params.get("prepares_for")
    if prepares and PREPARATION + prepares not in flight.purposes:
        return Share(why=reason("time.not-preparation", test=prepares))
    if "dual" in params["counts"]:
        by_instructor, why = facts.taught(flight)
        if not by_instructor:
            return Share(why=why)
    fits, why = facts.suits(flight, params.get("aircraft") or facts.ANY, question.models)
    if fits is False:
        return Share(why=why)
    if fits is None:
        share.sure = 0
        share.missing += (why,)
    if limit := params.get("landing_more_than"):
        journey = journeys.over_route(record, flight)
        beyond, why = journey.lands_beyond(limit)
        far = journey.farthest
        note = NOTHING
        if far and journeys.close(far[0], limit):
            note = reason(
                "route.landing-near-limit",
                flight=Named(flight.id),
                place=far[1].key,
                distance=amounts.distance(far[0]),
                limit=Limit(limit),
            )
        if beyond is False:
            return Share(why=why, note=note)
        share.note = note
        if beyond is None:
            share.sure = 0
            share.missing += (why,)
    return share
