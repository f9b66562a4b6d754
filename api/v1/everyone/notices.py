"""The caller's notices inside the program."""

import datetime as dt

from rest_framework.request import Request
from rest_framework.response import Response

from api.v1.base.description import CURSOR, Answer, describe
from api.v1.base.field_types import STRING, UTC, UUID, WHOLE
from api.v1.base.pages import Pages, PageSerializer
from api.v1.base.serializers import Field, ResponseSerializer
from api.v1.base.views import View
from syllabus.engine.record import reading
from training.services.reminders import notices


class NoticePages(Pages):
    """Fifty notices a page, the newest first."""

    ordering = ("-at", "-id")

    def position(self, text: str) -> dt.datetime:
        return dt.datetime.fromisoformat(text)


class NoticeSerializer(ResponseSerializer):
    """A notice."""

    id = Field(WHOLE, source="pk")
    kind = Field(STRING)
    about = Field(STRING, "The id of the lesson, record or reminder.")
    student = Field(UUID, source="student.ref")
    at = Field(UTC)
    read_at = Field(UTC, allow_null=True)


class NoticePageSerializer(PageSerializer):
    notices = NoticeSerializer(many=True)


class Notices(View):
    query = {"cursor": reading.text}

    @describe(
        name="listNotices",
        summary="List your notices",
        description=(
            "Notices of a lesson signed or corrected, of a change of a record or of its name or birth date, "
            "and of reminders. `about` is the id of the lesson, record or reminder. The newest first, in "
            f"pages of {NoticePages.page_size}; follow `next`."
        ),
        parameters=[CURSOR],
        answers={200: Answer(NoticePageSerializer, "A page")},
        refuses=(404,),
    )
    def get(self, request: Request) -> Response:
        page = NoticePages(notices.told(self.user, self.today), request)
        return Response(NoticePageSerializer({**page.links, "notices": page.rows}).data)


class NoticeRead(View):
    @describe(
        name="markNoticeRead",
        summary="Mark a notice as read",
        description="Records when the caller read it. Sending it again changes nothing. No body.",
        answers={200: Answer(NoticeSerializer, "The notice")},
        refuses=(403, 411, 413),
    )
    def post(self, request: Request, notice: int) -> Response:
        return Response(NoticeSerializer(notices.mark_read(self.user, notice, self.at)).data)
