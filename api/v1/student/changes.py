"""The changes of a student's record and of its answers between two times."""

import uuid
from typing import Any

from api.v1.base.description import Answer, Parameter, describe
from api.v1.base.field_types import DAY, FLAG, INSTANT, STRING, UUID, word
from api.v1.base.reports import AT, CODE, PROVENANCE
from api.v1.base.serializers import Field, ResponseSerializer
from api.v1.student.students import StudentView
from syllabus.engine.errors import QuestionError
from syllabus.engine.record.record import entry_day
from syllabus.engine.rules.report import CAUTION
from syllabus.engine.time import amounts
from training.presenters.entry import PLAIN
from training.reports.changes import changes


class SideSerializer(ResponseSerializer):
    """One of the two times, with the day at the school and the rulebook of that day."""

    at = Field(AT)
    on = Field(DAY)
    rulebook = Field(STRING)


class WordedSerializer(ResponseSerializer):
    code = Field(CODE, source="reason.code")
    words = Field(STRING, of=lambda change: change.words(PLAIN))


class EntryChangeSerializer(WordedSerializer):
    part = Field(STRING)
    id = Field(STRING, source="entry.id")
    change = Field(word(["came", "corrected", "retired"]))
    provenance = Field(PROVENANCE, source="entry.provenance")
    day = Field(DAY, of=lambda change: entry_day(change.entry))
    was = Field(STRING, allow_null=True)
    why = Field(STRING, of=lambda change: str(change.why))


class PersonChangeSerializer(WordedSerializer):
    field = Field(word(["name", "birth_date"]))
    was = Field(STRING, allow_null=True, of=lambda change: change.was and str(change.was))
    now = Field(STRING, allow_null=True, of=lambda change: change.now and str(change.now))


class MilestoneChangeSerializer(WordedSerializer):
    milestone = Field(STRING)
    title = Field(STRING)
    was = Field(FLAG, allow_null=True)
    now = Field(FLAG, allow_null=True)
    because = Field(word(["record", "time"]), "The cause: an entry, or the passing of days.")


class RequirementChangeSerializer(MilestoneChangeSerializer):
    requirement = Field(STRING, source="after.rule.id")
    citation = Field(STRING, source="after.rule.cite.section")
    says = Field(STRING, source="after.rule.says")
    have_before = Field(STRING, of=lambda turn: amounts.text(turn.before.have))
    have_now = Field(STRING, of=lambda turn: amounts.text(turn.after.have))
    need = Field(STRING, of=lambda turn: amounts.text(turn.after.need))


class ChangesSerializer(WordedSerializer):
    student = Field(UUID, source="student.ref")
    from_ = SideSerializer(source="first")
    to = SideSerializer(source="second")
    entries = EntryChangeSerializer(many=True)
    person = PersonChangeSerializer(many=True, help_text="A change of the name or birth date on record.")
    milestones = MilestoneChangeSerializer(many=True)
    requirements = RequirementChangeSerializer(many=True)
    caution = Field(STRING, of=lambda changes: CAUTION)


class StudentChanges(StudentView):
    query = (
        Parameter.asked("from", "The earlier time.", INSTANT, required=True),
        Parameter.asked("to", "The later time.", INSTANT),
    )

    @describe(
        "changesOfStudent",
        "List the changes between two times",
        Answer(ChangesSerializer, "What changed"),
    )
    def get(self, ref: uuid.UUID) -> Any:
        """Entries that were added, corrected or removed between `from` and `to` (default: now), and
        requirements and milestones whose status changed, in words, with the cause: an entry, or the passing
        of days. Each side is as known then, for the school's day. The reading is logged.
        """
        student = self.open(ref, "changes")
        first, second = self.asked["from"], self.asked["to"] or self.at
        if first is None:
            raise QuestionError.at("from", "missing; enter the earlier time")
        if second < first:
            raise QuestionError.at("to", "is before 'from'; enter the later time")
        return changes(student, first, second)
