"""Search for students, lessons, people and aircraft that the caller may see."""

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
        list_of(STRING, 4), "The groups with more results than returned.", of=lambda found: sorted(found.more)
    )


class Search(View):
    query = {"q": reading.name}

    @describe(
        name="search",
        summary="Find students, lessons, people and aircraft",
        description=(
            "Results that match all words of `q`, whatever the case: students by name; lessons by student,"
            " instructor, code, title, day or aircraft; aircraft, for instructors and administrators of the"
            " school, by registration or model; people, for the school's administrators, by name or e-mail."
            f" At most {search.MOST} of each; `more` names the groups with more. The first"
            f" {search.MOST_WORDS} words count, of at most {search.MOST_TEXT} characters. The reading is"
            " logged for each student listed."
        ),
        parameters=[
            Parameter("q", "query", "The words.", {"type": "string", "minLength": 1, "maxLength": 200}, True)
        ],
        answers={200: Answer(FoundSerializer, "What was found")},
    )
    def get(self, request: Request) -> Response:
        if self.asked["q"] is None:
            raise QuestionError([Fault("q", "is missing; enter the words to search for")])
        found = search.find(self.user, self.asked["q"], via="api", at=self.at)
        return Response(FoundSerializer(found).data)


def _day(lesson: LessonRecord, part: str) -> str | None:
    return (lesson.content.get(part) or {}).get("date")
