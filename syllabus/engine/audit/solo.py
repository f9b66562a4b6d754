"""Solo flights whose day lies outside the days on which the rules for them held."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from types import MappingProxyType

from syllabus.engine.audit.audit import (
    A_NOTE,
    CORRECTION,
    INCOMPLETE,
    NOTHING,
    SERIOUS,
    Audited,
    Found,
    Minimums,
    Otherwise,
    Unmet,
    below_the_schools,
    in_force,
)
from syllabus.engine.audit.solo_flights import at_night, class_b, flown_alone
from syllabus.engine.errors import NotInForce
from syllabus.engine.record.record import Flight, Record
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.rules.facts import same
from syllabus.engine.rules.finding import Finding
from syllabus.engine.rules.journeys import Journey
from syllabus.engine.rules.journeys import journey as journey_of
from syllabus.engine.rules.question import Context
from syllabus.engine.rules.reasons import NotCovered
from syllabus.engine.rules.rulebook import (
    SOLO,
    SOLO_CLASS_B,
    SOLO_CROSS_COUNTRY,
    SOLO_NIGHT,
    Milestone,
    Requirement,
    Rulebook,
    Rules,
)

#: The kind of finding about a flight under a milestone, by the milestone's role.
KINDS = {
    SOLO: "solo-first",
    SOLO_CROSS_COUNTRY: "solo-cross-country",
    SOLO_NIGHT: "solo-night",
    SOLO_CLASS_B: "solo-class-b",
}
#: The lists of a record that the rules for solo flight read.
_PARTS = ("certificates", "flights", "items", "documents", "tests", "endorsements")
_NESTED = "milestone"


@dataclass(frozen=True, slots=True)
class _Question:
    """What is asked of one solo flight: parts of a milestone, each in its context."""

    flight: Flight
    milestone: Milestone
    asked: tuple[tuple[str, Context], ...]
    what: str
    about: tuple[str, ...] = ()
    entries: tuple[str, ...] = ()


def findings(
    audited: Audited, rulebook: Rulebook, rules: Rules, minimums: Minimums = MappingProxyType({})
) -> Iterator[Found]:
    """What each solo flight of a student pilot shows, the rules for any solo flight first.

    ``minimums`` are what the school asked for beyond the law, each version a requirement of its own.
    """
    asking = _Asking(audited, rulebook, minimums)
    for question in _questions(asking, rules):
        yield from asking.found(question)
        yield from asking.of_the_school(question)


def _questions(asking: "_Asking", rules: Rules) -> Iterator[_Question]:
    record = asking.audited.record
    trips: set[int] = set()
    for flight, alone in flown_alone(record, rules):
        model = Context(aircraft_model=flight.aircraft.model)
        for first in asking.rulebook.in_role(SOLO):
            yield _Question(flight, first, ((asking.all_of(first), model),), alone)
        journey = journey_of(record, flight)
        if id(journey) not in trips and journey.points and journey.leaves_home:
            trips.add(id(journey))
            for away in asking.rulebook.in_role(SOLO_CROSS_COUNTRY):
                yield from _away(asking, away, flight, journey)
        for airport in at_night(flight, rules):
            own = replace(model, airport=airport)
            what = f"a solo flight at night at {airport.key}"
            for night in asking.rulebook.in_role(SOLO_NIGHT):
                yield _Question(flight, night, ((asking.own(night), own),), what, (airport.key,))
        for area, where in class_b(flight, rules):
            own = replace(model, area=area)
            what = f"a solo flight in Class B airspace ({where})"
            for inside in asking.rulebook.in_role(SOLO_CLASS_B):
                yield _Question(flight, inside, ((asking.own(inside), own),), what, (same(area),))


def _away(asking: "_Asking", milestone: Milestone, flight: Flight, journey: Journey) -> Iterator[_Question]:
    """A flight that landed elsewhere, by any of the ways there are; what the first of them asks is told."""
    points = journey.points
    route = Context(aircraft_model=flight.aircraft.model, route=points)
    own = asking.own(milestone)
    first, *others = [replace(route, path=each.id) for each in milestone.paths] or [route]
    if any(asking.held(flight, own, way) for way in others):
        return
    yield _Question(
        flight,
        milestone,
        ((own, first),),
        f"a solo cross-country flight ({'-'.join(place.key for place in points)})",
        entries=tuple(each.id for each in journey.entries),
    )


class _Asking:
    """Questions put to a record, each once for each state of it and each context."""

    def __init__(self, audited: Audited, rulebook: Rulebook, minimums: Minimums):
        self.audited, self.rulebook, self.minimums = audited, rulebook, minimums
        self.on = max((flight.date for flight in audited.record.flights), default=audited.on)
        self._records: dict[Otherwise, Record] = {Otherwise(): audited.record}
        self._answers: dict[tuple[Otherwise, str, Context], tuple[Finding, ...]] = {}
        self._put: dict[str, Rulebook] = {}
        self._requirements = {
            requirement.id: requirement
            for milestone in rulebook.in_role(*KINDS)
            for requirement in milestone.requirements
        }

    def _part(self, name: str, whole: Milestone, requirements: Iterable[Requirement]) -> str:
        """Some of a milestone's requirements, as a milestone that can be asked about."""
        if name not in self._put:
            some = Milestone(
                name,
                whole.title,
                whole.says,
                whole.context,
                tuple(requirements),
                # who holds what is looked at flight by flight, for the day asked about is the last one's
                scope=replace(whole.scope, holders=None),
                paths=whole.paths,
            )
            self._put[name] = self.rulebook.with_milestone(some)
        return name

    def all_of(self, milestone: Milestone) -> str:
        return self._part(f"{milestone.id}/all", milestone, milestone.requirements)

    def own(self, milestone: Milestone) -> str:
        """Without what another milestone asks, which is asked by itself."""
        some = (each for each in milestone.requirements if each.kind != _NESTED)
        return self._part(f"{milestone.id}/own", milestone, some)

    def held(self, flight: Flight, part: str, context: Context) -> bool:
        """Whether all of a part held on a flight's day, as known now and as known then."""
        try:
            return not self._all_unmet(flight, ((part, context),), _PARTS)
        except NotCovered:
            return False

    def _otherwise(self, flight: Flight, parts: tuple[str, ...] = _PARTS) -> Otherwise:
        return self.audited.otherwise(flight.date, self.audited.then(flight), parts)

    def _record(self, otherwise: Otherwise) -> Record:
        if otherwise not in self._records:
            self._records[otherwise] = self.audited.as_it_was(otherwise)
        return self._records[otherwise]

    def _ask(
        self, otherwise: Otherwise, part: str, context: Context, on: date | None = None
    ) -> tuple[Finding, ...]:
        key = (otherwise, part, context)  # the day follows from the part
        if key not in self._answers:
            put, record = self._put[part], self._record(otherwise)
            report = evaluate(
                put, record, part, on or self.on, context=context, settings=self.audited.settings
            )
            self._answers[key] = tuple(report.leaves())
        return self._answers[key]

    def found(self, question: _Question) -> Iterator[Found]:
        """What is to be told of a flight under the law; nothing where all of it held."""
        flight = question.flight
        try:
            unmet = self._all_unmet(flight, question.asked, _PARTS)
        except NotCovered as refused:
            yield self._not_covered(question, refused)
            return
        if not unmet:
            return
        held_now, held_then = _all(each.now for each in unmet), _all(each.then for each in unmet)
        severity, mend, way = _weighed(held_now, held_then)
        yield Found(
            kind=KINDS[question.milestone.role],
            severity=severity,
            about=(flight.id, *question.about),
            day=flight.date,
            entries=question.entries or (flight.id,),
            says=f"{_named(question)}: {_told(held_now, held_then)} "
            + " ".join(f"{each.says} ({each.citation})." for each in unmet),
            citations=tuple(dict.fromkeys(each.citation for each in unmet)),
            mend=mend,
            way=way,
            verified=_weakest(each.verified for each in unmet),
            unmet=tuple(unmet),
            two_times=True,
            now=held_now,
            then=held_then,
        )

    def _not_covered(self, question: _Question, refused: NotCovered) -> Found:
        """What nobody can tell of a flight, because no rule covers it."""
        flight, rules = question.flight, question.milestone.requirements
        cite = rules[0].versions[-1].cite.section
        severity, mend, way = _weighed(None, None)
        return Found(
            kind=KINDS[question.milestone.role],
            severity=severity,
            about=(flight.id, *question.about),
            day=flight.date,
            entries=question.entries or (flight.id,),
            says=f"{_named(question)}: not covered by these rules: {refused}",
            citations=(cite,),
            mend=mend,
            way=way,
            verified=rules[0].versions[-1].verified,
        )

    def of_the_school(self, question: _Question) -> Iterator[Found]:
        """What of the school's own minimums did not hold, for the flight as the law sees it."""
        day, milestone = question.flight.date, question.milestone
        here = in_force(self.minimums.get(milestone.id, ()), day)
        if not here:
            return
        named = [f"{each.id} {each.first}" for each in here]
        asked = [Requirement(each.id, each.kind, (each,)) for each in here]
        part = self._part(f"{milestone.id}/{', '.join(named)}", milestone, asked)
        _, context = question.asked[-1]
        # A minimum may count flights and lessons as well; all are in force until the first of them ends.
        on = min(each.last or self.on for each in here)
        try:
            unmet = self._all_unmet(question.flight, ((part, context),), Record.PARTS, on)
        except NotCovered:  # it is told of the law already
            return
        if unmet:
            about = (question.flight.id, milestone.id, *question.about)
            entries = question.entries or (question.flight.id,)
            yield below_the_schools(_named(question), question.flight.date, unmet, about, entries)

    def _all_unmet(
        self,
        flight: Flight,
        asked: tuple[tuple[str, Context], ...],
        parts: tuple[str, ...],
        on: date | None = None,
    ) -> list[Unmet]:
        """What did not hold on the flight's day, as known now or as known then; asked about ``on``."""
        day, otherwise = flight.date, self._otherwise(flight, parts)

        def leaves(state: Otherwise) -> list[Finding]:
            return [leaf for part, context in asked for leaf in self._ask(state, part, context, on)]

        now = leaves(Otherwise())
        then = leaves(otherwise) if otherwise else now
        unmet = []
        for leaf, before in zip(now, then, strict=True):
            met, was = leaf.met(day), before.met(day)
            if met is True and was is True:
                continue
            unmet.append(self._unmet(leaf, flight, met, was))
        return unmet

    def _unmet(self, leaf: Finding, flight: Flight, now: bool | None, then: bool | None) -> Unmet:
        """In the words of the version that was in force on the day of the flight."""
        rule = leaf.rule
        if rule.id in self._requirements:
            try:
                rule = self._requirements[rule.id].on(flight.date)
            except NotInForce:
                pass
        return Unmet(rule.id, rule.says, rule.cite.section, rule.verified, now, then)


def _named(question: _Question) -> str:
    flight, what = question.flight, question.what
    return f"{what[0].upper()}{what[1:]} in the {flight.aircraft.model} on {flight.date}"


def _all(answers: Iterable[bool | None]) -> bool | None:
    every = list(answers)
    return False if False in every else None if None in every else True


def _weakest(verified: Iterable[str]) -> str:
    order = ("memory", "second-hand", "read")
    return min(verified, key=order.index, default="read")


_WORDS = {
    True: "everything that the rule requires was in place",
    False: "not everything that the rule requires was in place",
    None: "it is unknown whether everything that the rule requires was in place",
}


def _told(now: bool | None, then: bool | None) -> str:
    """Both answers in words."""
    if now == then:
        return f"by what was known then and by what is known now, {_WORDS[now]}."
    return f"by what was known then, {_WORDS[then]}; by what is known now, {_WORDS[now]}."


def _weighed(now: bool | None, then: bool | None) -> tuple[str, str, str]:
    """Severity, what would mend it, and how."""
    if now is True:
        return INCOMPLETE, A_NOTE, "Note why it was recorded only after the flight."
    if now is None:
        return INCOMPLETE, CORRECTION, "Add what is missing, with its own date."
    if then is True:
        return (
            INCOMPLETE,
            A_NOTE,
            "A later correction removed what it relied on. Note what the instructor relied on at the time.",
        )
    return (
        SERIOUS,
        NOTHING,
        "The flight cannot be undone. If an entry is missing or wrong, correct it; otherwise"
        " note what was done"
        " about it.",
    )
