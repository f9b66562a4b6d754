"""The milestones whose status changed since yesterday."""

from typing import Any

from api.v1.base.description import Answer, describe
from api.v1.base.field_types import DAY, FLAG, STRING, WHOLE
from api.v1.base.serializers import Field, ResponseSerializer
from api.v1.base.views import View
from api.v1.student.students import StudentNamedSerializer
from syllabus.engine.rules.report import CAUTION
from training.services.school import status_changes


class AnswerInShortSerializer(ResponseSerializer):
    """The answer for a milestone."""

    met = Field(FLAG, "Null: a fact that is not on record could change it.", allow_null=True)
    eligible_until = Field(DAY, allow_null=True)
    gaps = Field(WHOLE)


class StatusChangeSerializer(ResponseSerializer):
    stored = ("before", "after")

    student = StudentNamedSerializer()
    milestone = Field(STRING)
    title = Field(STRING)
    on = Field(DAY)
    before = AnswerInShortSerializer(allow_null=True, help_text="Null: new since then.")
    after = AnswerInShortSerializer()


class StatusChangeListSerializer(ResponseSerializer):
    turns = StatusChangeSerializer(many=True)
    caution = Field(STRING)


class StatusChanges(View):
    @describe(
        "listStatusChanges",
        "List the changes since yesterday",
        Answer(StatusChangeListSerializer, "The changes"),
        words={"most": status_changes.MOST},
    )
    def get(self) -> Any:
        """Milestones whose status changed since the end of yesterday, at the student's school: by new
        entries, or because a day passed. From saved summaries, which follow a change within minutes; at most
        %(most)s, by the students' names. Reversed changes are not listed. The reading
        is logged.
        """
        found = status_changes.seen_by(self.user, self.at, via="api")
        return {"turns": found, "caution": CAUTION}
