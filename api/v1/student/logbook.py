"""A student's logbook: the totals of all entries or of some."""

import uuid
from typing import Any

from api.v1.base.description import KNOWN_AT, Answer, Parameter, describe
from api.v1.base.field_types import DAY, STRING, WHOLE, keyed, like, word
from api.v1.base.serializers import Field, ResponseSerializer
from api.v1.student.students import StudentView
from syllabus.engine.rules.report import CAUTION
from syllabus.engine.time.units import format_time
from training import record
from training.reports import logbook
from training.reports.logbook import KINDS, LANDINGS, Line, Selection

HOURS = like(STRING, description="Hours with the unit, `1.2 h`, or minutes where hours are not exact.")


class LogbookSerializer(ResponseSerializer):
    entries = Field(WHOLE, "How many entries the totals are of.", of=len)
    times = Field(keyed(KINDS, HOURS, all_of_them=True), "Totals by kind of time.")
    landings = Field(keyed(LANDINGS, WHOLE, all_of_them=True), "Totals by day and night as entered.")
    caution = Field(STRING, of=lambda lines: CAUTION)

    def find_times(self, lines: list[Line]) -> dict[str, str]:
        found = logbook.totals(lines)
        return {kind: format_time(found[kind]) for kind in KINDS}

    def find_landings(self, lines: list[Line]) -> dict[str, int]:
        found = logbook.totals(lines)
        return {each: found[each] for each in LANDINGS}


class StudentLogbook(StudentView):
    query = (
        Parameter.asked("from", "The first day of the entries.", DAY),
        Parameter.asked("to", "The last day of the entries.", DAY),
        Parameter.asked("aircraft", "A registration; the model of an entry without one."),
        Parameter.asked("time", "Only entries with some time of this kind.", word(KINDS)),
        KNOWN_AT,
    )

    @describe(
        "readLogbook",
        "Read the totals of a student's logbook",
        Answer(LogbookSerializer, "The totals"),
    )
    def get(self, ref: uuid.UUID) -> Any:
        """Flight time by kind, landings, time in training devices and on the ground, as the entries have
        them. Time in a training device is in `device` alone and in no total of flight time. A corrected
        entry counts as corrected. The entries themselves are in `record`. The reading is logged.
        """
        student = self.open(ref, "logbook")
        asked = self.asked
        every = logbook.lines(student, record.of(student, known_at=asked["known_at"]))
        selection = Selection(asked["from"], asked["to"], asked["aircraft"], asked["time"])
        return logbook.selected(every, selection)
