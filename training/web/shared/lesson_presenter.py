"""A lesson record in the words and shapes of a page."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.utils.translation import gettext as _

from syllabus.courses import outlines
from syllabus.engine.course.course import Outline
from syllabus.engine.course.progress import reaches
from syllabus.engine.record.record import TIMES
from syllabus.engine.time.amounts import count
from training.models import LessonRecord
from training.presenters import amounts
from training.services.lessons import lesson_records
from training.web.shared import plain_words
from training.web.shared.report_presenter import State, day


@dataclass(frozen=True)
class HintShown:
    """A measured value beside its standard."""

    hint: Mapping[str, Any]

    @property
    def words(self) -> str:
        return str(self.hint["words"])

    @property
    def caution(self) -> str:
        return str(self.hint["caution"])

    @property
    def state(self) -> State:
        inside = self.hint["inside"]
        if inside is None:
            return State("open", "?", _("Not compared"))
        return State("yes", "✓", _("Within")) if inside else State("no", "✗", _("Outside"))


@dataclass(frozen=True)
class GradedShown:
    """An item of a lesson with its grade, what the lesson asked, and what was measured."""

    title: str
    grade: str
    asked: str | None
    remarks: str
    hints: tuple[HintShown, ...]

    @property
    def words(self) -> str:
        return plain_words.grade(self.grade)

    @property
    def asked_words(self) -> str:
        return plain_words.grade(self.asked)

    @property
    def below(self) -> bool:
        """Whether the lesson asked for more; what was not looked at stays open."""
        return self.asked is not None and not reaches(self.grade, self.asked)


@dataclass(frozen=True)
class LessonShown:
    """A lesson record, a draft or signed; ``own`` where the student looks at it."""

    record: LessonRecord
    own: bool

    @cached_property
    def _outline(self) -> Outline | None:
        version = self.record.course_version
        return outlines.published(version) if version else None

    @property
    def _zone(self) -> dt.tzinfo:
        return zoneinfo.ZoneInfo(self.record.student.school.time_zone)

    @property
    def flight(self) -> Mapping[str, Any] | None:
        return self.record.content["flight"]

    @property
    def ground(self) -> Mapping[str, Any] | None:
        return self.record.content["ground"]

    @property
    def ground_time(self) -> str:
        return amounts.logged(self.ground["time"]) if self.ground else ""

    @property
    def title(self) -> str:
        lesson = next((each for each in self._lessons if each.code == self.record.lesson), None)
        if lesson is not None:
            return f"{lesson.code} {lesson.title}"
        return self.record.lesson or _("A lesson outside the course")

    @property
    def _lessons(self) -> tuple[Any, ...]:
        return self._outline.lessons if self._outline else ()

    @property
    def when(self) -> str:
        part = self.flight or self.ground
        return day(dt.date.fromisoformat(part["date"])) if part else _("no date yet")

    @property
    def in_short(self) -> str:
        flight = self.flight
        if flight is None:
            return _("%(time)s ground") % {"time": self.ground_time} if self.ground else _("planned")
        logged = flight.get("times") or {}
        told = [
            _("%(time)s %(kind)s") % {"time": amounts.logged(logged[key]), "kind": plain_words.kind(key)}
            for key in ("dual", "solo")
            if logged.get(key)
        ]
        return ", ".join([*told, self.aircraft])

    @property
    def aircraft(self) -> str:
        craft = (self.flight or {}).get("aircraft") or {}
        return " ".join(filter(None, (craft.get("model"), craft.get("registration")))) or _(
            "no aircraft entered"
        )

    @property
    def clock(self) -> str:
        return self._span("off", "on")

    @property
    def ramp(self) -> str:
        """First movement and rest after landing."""
        return self._span("out", "in")

    def _span(self, first: str, last: str) -> str:
        flight = self.flight or {}
        at = [
            f"{dt.datetime.fromisoformat(flight[key]).astimezone(self._zone):%H:%M}"
            if flight.get(key)
            else ""
            for key in (first, last)
        ]
        if all(at):
            return _("%(off)s to %(on)s") % {"off": at[0], "on": at[1]}
        return _("from %(time)s") % {"time": at[0]} if at[0] else at[1] and _("to %(time)s") % {"time": at[1]}

    @property
    def route(self) -> str:
        places = (self.flight or {}).get("route") or []
        return " – ".join(map(_place, places))

    @property
    def times(self) -> list[tuple[str, str]]:
        logged = (self.flight or {}).get("times") or {}
        return [
            (plain_words.kind(kind), amounts.logged(logged[kind]))
            for kind in TIMES
            if logged.get(kind) not in (None, 0, "0.0 h")
        ]

    @property
    def landings(self) -> list[str]:
        return [_landing(each) for each in (self.flight or {}).get("landings", ())]

    @property
    def comments(self) -> str:
        return str(self.record.content["comments"])

    @property
    def following(self) -> str:
        return str(self.record.content["next"])

    @cached_property
    def items(self) -> list[GradedShown]:
        lesson = next((each for each in self._lessons if each.code == self.record.lesson), None)
        asked = lesson.items if lesson else {}
        known = self._outline.by_code if self._outline else {}
        hints = lesson_records.hints(self.record)
        return [
            GradedShown(
                known[each["item"]].title if each["item"] in known else each["item"],
                each["grade"],
                asked.get(each["item"]),
                each.get("remarks") or "",
                tuple(HintShown(hint) for hint in hints if hint["item"] == each["item"]),
            )
            for each in self.record.content["items"]
        ]

    @property
    def below(self) -> list[GradedShown]:
        return [each for each in self.items if each.below]

    # Signatures

    @property
    def is_draft(self) -> bool:
        return self.record.state == LessonRecord.State.DRAFT

    @property
    def signed(self) -> Any:
        return getattr(self.record, "sign_off", None)

    @property
    def acknowledged(self) -> Any:
        return getattr(self.signed, "acknowledgement", None)

    @property
    def replaced_by(self) -> Any:
        return getattr(self.record, "correction", None)

    @property
    def state(self) -> State:
        if self.is_draft:
            return State("open", "…", _("Not signed yet"))
        if self.replaced_by:
            return State("none", "–", _("Corrected"))
        if self.acknowledged:
            return State("yes", "✓", _("Signed by both"))
        return State("open", "!", _("To acknowledge"))

    @property
    def signed_on(self) -> str:
        return self._moment(self.signed.performed_at) if self.signed else ""

    @property
    def acknowledged_on(self) -> str:
        return self._moment(self.acknowledged.at) if self.acknowledged else ""

    def _moment(self, at: dt.datetime) -> str:
        here = at.astimezone(self._zone)
        return _("%(day)s at %(time)s") % {"day": day(here.date()), "time": f"{here:%H:%M}"}


def _place(where: Any) -> str:
    """A point as a person calls it."""
    if not where or isinstance(where, str):
        return where or ""
    return where.get("name") or f"{where['lat']}, {where['lon']}"


def _landing(each: Mapping[str, Any]) -> str:
    place = _place(each.get("at"))
    told = [
        amounts.have((count(each.get("takeoffs", 0), "takeoff"), count(each.get("landings", 0), "landing"))),
        _("at %(place)s") % {"place": place} if place else "",
        {"day": _("by day"), "night": _("at night")}.get(each.get("period") or "", ""),
        _("to a full stop") if each.get("full_stop") else "",
    ]
    return " ".join(filter(None, told))


def changes(before: LessonShown, after: LessonShown) -> list[tuple[str, str, str]]:
    """What differs between a record and the one that put it right: its name, as it was, as it is."""
    old, new = _told(before), _told(after)
    return [
        (name, old.get(name, _("nothing")), new.get(name, _("nothing")))
        for name in dict.fromkeys([*old, *new])
        if old.get(name) != new.get(name)
    ]


def _told(shown: LessonShown) -> dict[str, str]:
    told = {_("Time %(kind)s") % {"kind": kind}: str(time) for kind, time in shown.times}
    told |= {_("Grade of %(item)s") % {"item": each.title}: each.grade for each in shown.items}
    told |= {
        _("Day"): shown.when,
        _("Aircraft"): shown.aircraft if shown.flight else "",
        _("Out and in"): shown.ramp,
        _("Off and on"): shown.clock,
        _("Route"): shown.route,
        _("Landings"): "; ".join(shown.landings),
        _("Ground lesson"): f"{shown.ground_time}, {shown.ground['topic']}" if shown.ground else "",
        _("Comments"): shown.comments,
        _("Next"): shown.following,
    }
    return {name: text for name, text in told.items() if text}
