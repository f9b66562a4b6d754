"""Students, lessons, people and aircraft by words, among those that the caller may see."""

from __future__ import annotations

from typing import Any

from rest_framework.request import Request
from rest_framework.response import Response

from api.v1.description import Answer, Parameter, describe
from api.v1.students import shown
from api.v1.views import View
from syllabus.engine import reading
from syllabus.engine.errors import Fault, QuestionError
from training.models import LessonRecord
from training.services import search


class Search(View):
    """GET: whatever holds every word."""

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
        answers={200: Answer("Found", "What was found")},
        refuses=(401, 406, 422),
    )
    def get(self, request: Request) -> Response:
        if self.asked["q"] is None:
            raise QuestionError([Fault("q", "is missing; give the words to look for")])
        found = search.find(self.user, self.asked["q"], via="api", at=self.at)
        return Response(
            {
                "students": [shown(each) for each in found.students],
                "lessons": [_lesson(each) for each in found.lessons],
                "people": [
                    {
                        "id": each.pk,
                        "school": each.school.slug,
                        "role": each.role,
                        "name": str(each.user),
                        "email": each.user.email,
                    }
                    for each in found.people
                ],
                "aircraft": [
                    {
                        "id": each.pk,
                        "school": each.school.slug,
                        "registration": each.registration,
                        "model": each.model,
                    }
                    for each in found.aircraft
                ],
                "more": sorted(found.more),
            }
        )


def _lesson(each: LessonRecord) -> dict[str, Any]:
    return {
        "id": str(each.pk),
        "student": {"ref": str(each.student.ref), "name": each.student.name},
        "instructor": str(each.instructor),
        "lesson": each.lesson,
        "title": getattr(each, "title", None),
        "state": each.state,
        "flown": (each.content.get("flight") or {}).get("date"),
        "taught": (each.content.get("ground") or {}).get("date"),
    }
