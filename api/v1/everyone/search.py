"""Students, lessons, people and aircraft by words, among those that the caller may see."""

from __future__ import annotations

from rest_framework.request import Request
from rest_framework.response import Response

from api.v1.base.description import Answer, Parameter, describe
from api.v1.base.field_types import DAY, STRING, UUID, WHOLE, list_of, word
from api.v1.base.serializers import Field, ResponseSerializer
from api.v1.base.views import View
from api.v1.student.students import StudentInAListSerializer, StudentNamedSerializer
from syllabus.engine.errors import Fault, QuestionError
from syllabus.engine.record import reading
from training.models import LessonRecord, Role
from training.services.school import search


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
        list_of(STRING, 4), "Of which there is more than is given.", of=lambda found: sorted(found.more)
    )


class Search(View):
    query = {"q": reading.name}

    @describe(
        name="search",
        summary="Find students, lessons, people and aircraft",
        description=(
            "Whatever holds every word of `q`, in capitals or not: a student by name; a lesson by its"
            " student, instructor, code, title, day or aircraft; an aircraft, for who teaches or administers"
            " its school, by registration or model; a person, for the school's administrators, by name or"
            f" e-mail address. At most {search.MOST} of each; `more` names those of which there are more."
            f" The first {search.MOST_WORDS} words count, of at most {search.MOST_TEXT} characters. Each"
            " student who is named is logged as read."
        ),
        parameters=[
            Parameter("q", "query", "The words.", {"type": "string", "minLength": 1, "maxLength": 200}, True)
        ],
        answers={200: Answer(FoundSerializer, "What was found")},
    )
    def get(self, request: Request) -> Response:
        if self.asked["q"] is None:
            raise QuestionError([Fault("q", "is missing; give the words to look for")])
        found = search.find(self.user, self.asked["q"], via="api", at=self.at)
        return Response(FoundSerializer(found).data)


def _day(lesson: LessonRecord, part: str) -> str | None:
    return (lesson.content.get(part) or {}).get("date")
