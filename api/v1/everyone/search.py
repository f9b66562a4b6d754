"""Search for students, lessons, people and aircraft that the caller may see."""

from typing import Any

from api.v1.base.description import Answer, Parameter, describe
from api.v1.base.field_types import DAY, STRING, UUID, WHOLE, list_of, word
from api.v1.base.serializers import Field, ResponseSerializer
from api.v1.base.views import View
from api.v1.student.students import StudentInAListSerializer, StudentNamedSerializer
from syllabus.engine.errors import QuestionError
from syllabus.engine.record import reading
from syllabus.engine.record.shapes import Type
from training.models import LessonRecord, Role
from training.services.school import search

_WORDS = Type(reading.name, {"type": "string", "minLength": 1, "maxLength": 200})


class LessonFoundSerializer(ResponseSerializer):
    id = Field(UUID)
    student = StudentNamedSerializer()
    instructor = Field(STRING)
    lesson = Field(STRING, "The lesson's code; empty outside a course.")
    title = Field(STRING, of=lambda lesson: getattr(lesson, "title", None), allow_null=True)
    state = Field(word(LessonRecord.State.values))
    flown = Field(DAY, "The day of the flight.", of=lambda lesson: _day(lesson, "flight"), allow_null=True)
    taught = Field(
        DAY,
        "The day of the ground lesson.",
        of=lambda lesson: _day(lesson, "ground"),
        allow_null=True,
    )


class PersonFoundSerializer(ResponseSerializer):
    id = Field(WHOLE)
    school = Field(STRING, source="school.slug")
    role = Field(word(Role.Kind.values))
    name = Field(STRING, source="user")
    email = Field(STRING, source="user.email")


class AircraftFoundSerializer(ResponseSerializer):
    id = Field(WHOLE)
    school = Field(STRING, source="school.slug")
    registration = Field(STRING)
    model = Field(STRING)


class FoundSerializer(ResponseSerializer):
    students = StudentInAListSerializer(many=True, max_length=search.MOST)
    lessons = LessonFoundSerializer(many=True, max_length=search.MOST)
    people = PersonFoundSerializer(many=True, max_length=search.MOST)
    aircraft = AircraftFoundSerializer(many=True, max_length=search.MOST)
    more = Field(
        list_of(STRING, 4), "The groups with more results than returned.", of=lambda found: sorted(found.more)
    )


class Search(View):
    query = (Parameter.asked("q", "The words.", _WORDS, required=True),)

    @describe(
        "search",
        "Find students, lessons, people and aircraft",
        Answer(FoundSerializer, "What was found"),
        words={"most": search.MOST, "most_words": search.MOST_WORDS, "most_text": search.MOST_TEXT},
    )
    def get(self) -> Any:
        """Results that match all words of `q`, whatever the case: students by name; lessons by student,
        instructor, code, title, day or aircraft; aircraft, for instructors and administrators of the school,
        by registration or model; people, for the school's administrators, by name or e-mail. At most %(most)s
        of each; `more` names the groups with more. The first %(most_words)s words count, of at most
        %(most_text)s characters. The reading is logged for each student listed.
        """
        if self.asked["q"] is None:
            raise QuestionError.at("q", "is missing; enter the words to search for")
        return search.find(self.user, self.asked["q"], via="api", at=self.at)


def _day(lesson: LessonRecord, part: str) -> str | None:
    return (lesson.content.get(part) or {}).get("date")
