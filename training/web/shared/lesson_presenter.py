"""Presents a lesson record for a page."""

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
from training.models import LessonRecord
from training.presenters import amounts, lesson
from training.presenters.days import day, instant
from training.services.lessons import lesson_records
from training.web.shared import plain_words
from training.web.shared.report_presenter import State


def _compared(inside: bool | None) -> State:
    """A measured value compared with its standard."""
    if inside is None:
        return State("open", "?", _("Not compared"))
    return State("yes", "✓", _("Within")) if inside else State("no", "✗", _("Outside"))


@dataclass(frozen=True)
class GradedShown:
    """An item of a lesson with its grade, the required grade, and what was measured."""

    told: lesson.Graded
    grade: str
    asked: str | None
    hints: list[dict[str, Any]]

    @property
    def words(self) -> str:
        return plain_words.grade(self.grade)

    @property
    def asked_words(self) -> str:
        return plain_words.grade(self.asked)

    @property
    def below(self) -> bool:
        """Whether the grade is below the required one; an ungraded item is not."""
        return self.asked is not None and not reaches(self.grade, self.asked)


@dataclass(frozen=True)
class LessonShown:
    """A lesson record, a draft or signed."""

    record: LessonRecord

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
    def title(self) -> str:
        if self._planned is not None:
            return f"{self._planned.code} {self._planned.title}"
        return self.record.lesson or _("A lesson outside the course")

    @property
    def _planned(self) -> Any:
        lessons = self._outline.lessons if self._outline else ()
        return next((each for each in lessons if each.code == self.record.lesson), None)

    @property
    def when(self) -> str:
        part = self.flight or self.ground
        return day(dt.date.fromisoformat(part["date"])) if part else _("no date yet")

    @property
    def in_short(self) -> str:
        if self.flight is None:
            ground = amounts.logged(self.ground["time"]) if self.ground else ""
            return _("%(time)s ground") % {"time": ground} if ground else _("planned")
        logged = self.flight.get("times") or {}
        told = [
            _("%(time)s %(kind)s") % {"time": amounts.logged(logged[key]), "kind": plain_words.kind(key)}
            for key in ("dual", "solo")
            if logged.get(key)
        ]
        craft = self.flight.get("aircraft") or {}
        known = " ".join(filter(None, (craft.get("model"), craft.get("registration"))))
        return ", ".join([*told, known or _("no aircraft entered")])

    @cached_property
    def told(self) -> lesson.Lesson:
        return lesson.lesson(self.record.content, self._zone, self._outline)

    @cached_property
    def items(self) -> list[GradedShown]:
        asked = self._planned.items if self._planned else {}
        hints = lesson_records.hints(self.record)
        return [
            GradedShown(
                told,
                each["grade"],
                asked.get(told.code),
                [{**hint, "state": _compared(hint["inside"])} for hint in hints if hint["item"] == told.code],
            )
            for each, told in zip(self.record.content["items"], self.told.items, strict=True)
        ]

    @property
    def below(self) -> list[GradedShown]:
        return [each for each in self.items if each.below]

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
        return instant(at, self._zone)
